package mixedmodel

import "gonum.org/v1/gonum/mat"

// SatterthwaiteDF is Satterthwaite's degrees of freedom of a variance v with slope j in theta, where
// inverse is the covariance of theta: 2 v^2/var(v) (Giesbrecht and Burns, Biometrics 41,
// 1985, 477-486).
func SatterthwaiteDF(v float64, j []float64, inverse *mat.SymDense) float64 {
	slope := mat.NewVecDense(len(j), j)
	return 2 * v * v / mat.Inner(slope, inverse, slope)
}

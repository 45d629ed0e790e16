package mixedmodel

import (
	"errors"
	"math"
)

// errNoise: V of a block is not positive definite.
var errNoise = errors.New("the noise of a block has no positive variance")

// swept is what a block is worth at one theta.
type swept struct {
	p      []float64 // k x k: P
	pz     []float64 // k x s: P Z T
	zs     []float64 // k x s: Z T
	logDet float64   // ln|V| + ln|W'V^-1 W|
}

// newSwept makes room for every block in one piece of memory.
func newSwept(blocks []*Block) (rows []swept, memory []float64) {
	size := 0
	for _, b := range blocks {
		size += len(b.Y) * (len(b.Y) + 2*len(b.Cols))
	}
	memory = make([]float64, size)
	room := memory
	take := func(n int) []float64 {
		out := room[:n:n]
		room = room[n:]
		return out
	}
	rows = make([]swept, len(blocks))
	for i, b := range blocks {
		k, s := len(b.Y), len(b.Cols)
		rows[i] = swept{p: take(k * k), pz: take(k * s), zs: take(k * s)}
	}
	return rows, memory
}

// scratch is memory that is used over and over within one pass over the blocks.
type scratch struct{ v, inv, w, x, row []float64 }

// grown is s with n zeros, in its own memory where there is room.
func grown(s []float64, n int) []float64 {
	if cap(s) < n {
		return make([]float64, n, 2*n)
	}
	s = s[:n]
	clear(s)
	return s
}

// sweep works out P, P Z T and the determinants of b into out, which holds zeros.
func (b *Block) sweep(theta []float64, scale *scale, t *scratch, out *swept) error {
	k, s := len(b.Y), len(b.Cols)
	t.v = grown(t.v, k*k)
	// V, lower half
	for _, n := range b.Noise {
		f := n.factor(theta)
		for i, d := range n.Diag {
			if b.Weight != nil {
				d /= b.Weight[i]
			}
			t.v[i*k+i] += f * d
		}
		for _, v := range n.Vectors {
			for i, vi := range v {
				if vi != 0 {
					for j := 0; j <= i; j++ {
						t.v[i*k+j] += f * vi * v[j]
					}
				}
			}
		}
	}
	logDet, ok := cholesky(t.v, k)
	if !ok {
		return errNoise
	}
	t.inv = grown(t.inv, k*k)
	invert(t.v, t.inv, k)
	copy(out.p, t.inv)
	// P: the free levels projected out
	if b.Levels > 0 {
		more, ok := t.project(b, out.p)
		if !ok {
			return errNoise
		}
		logDet += more
	}
	out.logDet = logDet
	// Z T, and P times it
	scale.rows(b, out.zs)
	for i := 0; i < k; i++ {
		row := out.pz[i*s : (i+1)*s]
		for j := 0; j < k; j++ {
			if f := out.p[i*k+j]; f != 0 {
				for c, z := range out.zs[j*s : (j+1)*s] {
					row[c] += f * z
				}
			}
		}
	}
	return nil
}

// factor is exp(2 theta), 1 of a fixed part.
func (n Noise) factor(theta []float64) float64 {
	if n.Param == 0 {
		return 1
	}
	return math.Exp(2 * theta[n.Param-1])
}

// project takes the free levels out of p = V^-1 and gives ln|W'V^-1 W|.
func (t *scratch) project(b *Block, p []float64) (logDet float64, ok bool) {
	k, l := len(b.Y), b.Levels
	t.w = grown(t.w, l*l)
	t.x = grown(t.x, k*l) // V^-1 W
	for i := 0; i < k; i++ {
		for j := 0; j < k; j++ {
			t.x[i*l+b.Level[j]] += t.inv[i*k+j]
		}
	}
	for i := 0; i < k; i++ {
		for j := 0; j < l; j++ {
			t.w[b.Level[i]*l+j] += t.x[i*l+j]
		}
	}
	logDet, ok = cholesky(t.w, l)
	if !ok {
		return 0, false
	}
	t.row = grown(t.row, l*l)
	invert(t.w, t.row, l)
	for i := 0; i < k; i++ {
		for j := 0; j < k; j++ {
			sum := 0.0
			for a := 0; a < l; a++ {
				for c := 0; c < l; c++ {
					sum += t.x[i*l+a] * t.row[a*l+c] * t.x[j*l+c]
				}
			}
			p[i*k+j] -= sum
		}
	}
	return logDet, true
}

// cholesky turns the lower half of the n x n matrix a into its factor L and gives ln|a|.
func cholesky(a []float64, n int) (logDet float64, ok bool) {
	for j := 0; j < n; j++ {
		d := a[j*n+j]
		for k := 0; k < j; k++ {
			d -= a[j*n+k] * a[j*n+k]
		}
		if !(d > 0) || math.IsInf(d, 1) {
			return 0, false
		}
		d = math.Sqrt(d)
		a[j*n+j] = d
		logDet += 2 * math.Log(d)
		for i := j + 1; i < n; i++ {
			s := a[i*n+j]
			for k := 0; k < j; k++ {
				s -= a[i*n+k] * a[j*n+k]
			}
			a[i*n+j] = s / d
		}
	}
	return logDet, true
}

// invert writes (L L')^-1 into out, which holds zeros.
func invert(l, out []float64, n int) {
	for c := 0; c < n; c++ {
		for i := c; i < n; i++ { // L x = e_c, into column c
			s := 0.0
			if i == c {
				s = 1
			}
			for k := c; k < i; k++ {
				s -= l[i*n+k] * out[k*n+c]
			}
			out[i*n+c] = s / l[i*n+i]
		}
	}
	for i := 0; i < n; i++ { // L^-T L^-1, from the lower triangle of L^-1, top row first
		for j := 0; j <= i; j++ {
			s := 0.0
			for k := i; k < n; k++ {
				s += out[k*n+i] * out[k*n+j]
			}
			out[i*n+j] = s
		}
		for j := 0; j < i; j++ {
			out[j*n+i] = out[i*n+j]
		}
	}
}

package usecase

import (
	"math"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
)

func Rounded(v float64, digits int) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	p := math.Pow(10, float64(digits))
	r := math.Round(v*p) / p
	if r == 0 {
		r = 0 // no negative zero
	}
	return &r
}

func Celsius(t kiln.Celsius) *float64 { return Rounded(float64(t), 1) }

func LengthMM(l tiles.Millimetre) *float64 { return Rounded(float64(l), 2) }

func Ratio4(r tiles.Ratio) *float64 { return Rounded(float64(r), 4) }

func Seconds(d time.Duration) int64 { return int64(d.Round(time.Second) / time.Second) }

func hours(d time.Duration) *float64 { return Rounded(d.Hours(), 2) }

// Moment writes a time with the studio's offset; nil while there is none.
func (s *Studio) Moment(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	v := t.In(s.Site.Zone).Format(time.RFC3339)
	return &v
}

func Text(v string) *string {
	if v == "" {
		return nil
	}
	return &v
}

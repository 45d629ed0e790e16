package api

import (
	"math"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
)

// Values keep their full precision until they are written; here, once, they are rounded:
// lengths to 2 figures after the point, ratios to 4, °C to 1. What is not known is null.

func rounded(v float64, digits int) *float64 {
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

func celsius(t kiln.Celsius) *float64       { return rounded(float64(t), 1) }
func lengthMM(l tiles.Millimetre) *float64  { return rounded(float64(l), 2) }
func lengthMM4(l tiles.Millimetre) *float64 { return rounded(float64(l), 4) }
func ratio4(r tiles.Ratio) *float64         { return rounded(float64(r), 4) }
func seconds(d time.Duration) int64         { return int64(d.Round(time.Second) / time.Second) }
func hours(d time.Duration) *float64        { return rounded(d.Hours(), 2) }

// moment writes a time with the studio's offset; nil while there is none.
func (s *Server) moment(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	v := t.In(s.Site.Zone).Format(time.RFC3339)
	return &v
}

func text(v string) *string {
	if v == "" {
		return nil
	}
	return &v
}

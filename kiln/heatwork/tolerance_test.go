package heatwork_test

import (
	"math"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/thermocouple"
)

// The class of the couple (IEC 60584 as suppliers' tables have it) is shown as a range before
// any cone is read: a K of class 2 is 9 °C at 1200 °C and is out of its class above, an S is 3 °C.
func TestClassShownAsRange(t *testing.T) {
	c := kiln.Curve{Channels: []kiln.ChannelID{"1"}, T: [][]kiln.Celsius{nil}}
	for i := range 1203 {
		c.After, c.T[0] = append(c.After, time.Duration(i)*time.Minute), append(c.T[0], kiln.Celsius(20+i))
	}
	for _, row := range []struct {
		kind thermocouple.Type
		want float64
	}{{thermocouple.K, 9}, {thermocouple.N, 9}, {thermocouple.S, 3},
		{thermocouple.R, 3}, {thermocouple.B, 3}} {
		tolerance, _ := row.kind.Tolerance(2, 1200)
		if math.Abs(float64(tolerance)-row.want) > 1e-9 {
			t.Errorf("type %v class 2 at 1200 °C: ± %v, want ± %v", row.kind, tolerance, row.want)
		}
		indicated := heatwork.CurveHeatWork(c, "1", kiln.NoTemperature(), 0)
		var by heatwork.Correction
		by.Bias, by.SD = heatwork.NewProbeBias(tolerance).For(indicated.C)
		w := heatwork.CorrectedHeatWork(c, "1", kiln.NoTemperature(), by)
		if w.C != indicated.C {
			t.Errorf("type %v: nothing was read, yet %v became %v", row.kind, indicated.C, w.C)
		}
		// The range is 1.645 times the root of 3² for the model and the tolerance as one sd, and a
		// little for what was gained in the last 3 °C.
		want := 1.645 * math.Sqrt(9+row.want*row.want)
		if got := float64(w.High - w.C); got < want || got > want+0.5 {
			t.Errorf("type %v: range ± %.2f, want ± %.2f", row.kind, got, want)
		}
	}
	if _, in := thermocouple.K.Tolerance(2, 1222); in {
		t.Error("type K has a class at 1222 °C")
	}
}

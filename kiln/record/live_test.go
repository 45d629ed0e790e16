package record

import (
	"testing"
	"testing/synctest"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/kilntest"
)

// What a page is given of a running firing: every minute's extremes, the last readings, gaps;
// and no faulty value in any of them.
func TestLiveCurve(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := newRig(t, newMemoryLog(), boot("a", kilntest.Winter, true))
		if _, ok := g.rec.LiveCurve("big-blue"); ok {
			t.Error("a curve with no firing open")
		}
		g.hold(20, 10*time.Minute)
		g.ramp(20, 600, 200)
		g.silence(5 * time.Minute)
		for i := range 1200 {
			g.pass(time.Second)
			v := kiln.Value{Channel: "1", T: 620 + kiln.Celsius(i)/18}
			if i%10 == 5 {
				v = kiln.Value{Channel: "1", T: 1372, Fault: kiln.Break}
			}
			g.samples <- kiln.Sample{Kiln: "big-blue", At: g.clock(), Values: []kiln.Value{v}, Raw: "+++"}
			g.ticks <- time.Time{}
		}
		g.second(687)
		synctest.Wait()
		c, ok := g.rec.LiveCurve("big-blue")
		if !ok || len(c.Minutes) != 1 || len(c.Gaps) != 1 {
			t.Fatalf("curve %v with %d channels and gaps %+v", ok, len(c.Minutes), c.Gaps)
		}
		if d := c.Gaps[0].For - 5*time.Minute; d < 0 || d > 3*time.Second || c.Gaps[0].Why != "quiet" {
			t.Errorf("gap %+v, want 5 min", c.Gaps[0])
		}
		m := c.Minutes[0]
		for i := range m.After {
			if m.High[i] > 690 || m.Low[i] > m.High[i] || m.High[i]-m.Low[i] > 25 {
				t.Fatalf("minute %v goes from %.1f to %.1f", m.After[i], m.Low[i], m.High[i])
			}
		}
		// The tail joins the minutes, is at least ten minutes long, and goes to the newest reading.
		n := len(c.Tail.After)
		if span := c.Tail.After[n-1] - c.Tail.After[0]; span < tailLength || span > 2*tailLength {
			t.Errorf("tail of %v", span)
		}
		if c.Tail.After[n-1] < m.After[len(m.After)-1] {
			t.Errorf("tail ends at %v, minutes at %v", c.Tail.After[n-1], m.After[len(m.After)-1])
		}
		l := g.live()
		if c.Firing.Peak > 690 || c.Firing.Faulty[kiln.Break] != 120 ||
			l.Faulty[kiln.Break] != 120 || l.T > 690 {
			t.Errorf("peak %.1f, faulty %v, live %.1f", c.Firing.Peak, c.Firing.Faulty, l.T)
		}
		if w := l.HeatWork["1"]; w.C.Known() && w.C > 700 {
			t.Errorf("heat work %.1f of a kiln at 690 °C", w.C)
		}
		// It is a copy.
		c.Minutes[0].High[0], c.Tail.T[0][0] = 9999, 9999
		if again, _ := g.rec.LiveCurve("big-blue"); again.Minutes[0].High[0] == 9999 ||
			again.Tail.T[0][0] == 9999 {
			t.Error("the curve of the recorder can be written to from outside")
		}
		if err := g.stop(); err != nil {
			t.Error(err)
		}
	})
}

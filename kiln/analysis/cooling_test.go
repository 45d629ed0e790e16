package analysis

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
)

// coolCurves are kilns left to themselves from 1222 °C in a room of 20 °C, every 10 s: Newton's
// fall, a chamber that loses heat to brick which loses it to the room (two heat balances, with
// made-up masses and losses), and radiation on top of Newton.
func coolCurves() map[string][]float64 {
	const step = 1.0 / 360
	all := map[string][]float64{}
	for name, tau := range map[string]float64{"Newton 2 h": 2, "Newton 5 h": 5, "Newton 12 h": 12} {
		t := 1222.0
		for ; t > 40; t += -(t - 20) / tau * step {
			all[name] = append(all[name], t)
		}
	}
	for name, v := range map[string]struct{ mass, between, brickOut, chamberOut float64 }{
		"brick": {2, 0.6, 0.12, 0.15}, "fibre": {0.4, 1, 0.1, 0.3}, "heavy": {4, 1, 0.2, 0.1},
		"open damper": {3, 0.4, 0.15, 0.4},
	} {
		chamber, brick := 1202.0, 800.0
		for chamber > 20 {
			all[name] = append(all[name], chamber+20)
			q := v.between * (chamber - brick)
			chamber -= (q + v.chamberOut*chamber) * step
			brick += (q - v.brickOut*brick) / v.mass * step
		}
	}
	for name, share := range map[string]float64{"some radiation": 30, "much radiation": 120} {
		for t := 1222.0; t > 40; {
			all[name] = append(all[name], t)
			t -= (0.12*(t-20) + share*(math.Pow((t+273.15)/1495, 4)-math.Pow(293.15/1495, 4))) * step
		}
	}
	return all
}

// Half way in time from the top to the mark, the forecast is within 15 % of the time left, and
// its range holds the truth. Readings in tenths with noise of 0.15 °C; the room is taken as 20
// and 21.5 °C.
func TestTimeToMarkHalfWay(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	worst, inside, n := 0.0, 0, 0
	for name, curve := range coolCurves() {
		var after []time.Duration
		var read []kiln.Celsius
		for i, c := range curve {
			after = append(after, time.Duration(i)*10*time.Second)
			read = append(read, kiln.Celsius(math.Round(10*(c+0.15*r.NormFloat64()))/10))
		}
		for _, mark := range []float64{50, 95, 150, 200} {
			end := 0
			for curve[end] > mark {
				end++
			}
			half := end / 2
			left := time.Duration(end-half) * 10 * time.Second
			for _, room := range []kiln.Celsius{20, 21.5} {
				u := TimeToCool(after[:half+1], read[:half+1], kiln.Celsius(mark), room)
				if !u.Known {
					t.Errorf("%s to %v: %s", name, mark, u.Says)
					continue
				}
				off := float64(u.Left-left) / float64(left)
				if worst = math.Max(worst, math.Abs(off)); math.Abs(off) > 0.15 {
					t.Errorf("%s to %v °C, room taken as %v: %v left, forecast %v, %.0f %% off", name, mark,
						room, left, u.Left, 100*off)
				}
				n++
				if left >= u.Low && left <= u.High {
					inside++
				}
				if !(u.Low <= u.Left && u.Left <= u.High) || u.High > 2*u.Left {
					t.Errorf("%s to %v °C: %v in %v to %v", name, mark, u.Left, u.Low, u.High)
				}
			}
		}
	}
	t.Logf("worst %.1f %% off at half way; the range holds %d of %d", 100*worst, inside, n)
	if float64(inside) < 0.9*float64(n) {
		t.Errorf("the 90 %% range holds %d of %d", inside, n)
	}
}

func TestTimeToMarkSaysWhyNot(t *testing.T) {
	at := func(n int, f func(minute float64) float64) (after []time.Duration, t []kiln.Celsius) {
		for i := range n {
			after, t = append(after, time.Duration(i)*time.Minute), append(t, kiln.Celsius(f(float64(i))))
		}
		return after, t
	}
	falling := func(m float64) float64 { return 20 + 600*math.Exp(-m/300) }
	for _, c := range []struct {
		name       string
		n          int
		f          func(float64) float64
		mark, room kiln.Celsius
		known      bool
		says       string
	}{
		{"nothing read", 0, falling, 95, 20, false, "no reading"},
		{"just begun", 5, falling, 95, 20, false, "Too few readings"},
		{"held", 120, func(float64) float64 { return 700 }, 95, 20, false, "not cooling"},
		{"rising", 120, func(m float64) float64 { return 300 + m }, 95, 20, false, "not cooling"},
		{"there", 120, func(m float64) float64 { return 90 - m/10 }, 95, 20, true, "At or below 95 °C"},
		{"a mark at the room", 120, falling, 22, 20, false, "warmth of the room"},
		{"room not known", 120, falling, 95, kiln.NoTemperature(), false, "no reading"},
		{"falling", 120, falling, 95, 20, true, "95 °C in about"},
	} {
		after, read := at(c.n, c.f)
		u := TimeToCool(after, read, c.mark, c.room)
		if u.Known != c.known || !strings.Contains(u.Says.String(), c.says) {
			t.Errorf("%s: known %v, %q", c.name, u.Known, u.Says)
		}
	}
}

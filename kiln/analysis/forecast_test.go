package analysis

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/detect"
)

// firingCurve is a made-up glaze in steps of 5 min: a hold at 600 °C, a climb, a hold at the top, and
// Newton's fall. slow stretches the climb, tau is the fall in hours.
func firingCurve(slow, tau float64) kiln.Envelope {
	e := kiln.Envelope{Channel: "1", Step: 5 * time.Minute}
	put := func(t float64) {
		e.After = append(e.After, time.Duration(len(e.After))*e.Step)
		e.Low, e.High = append(e.Low, kiln.Celsius(t-0.5)), append(e.High, kiln.Celsius(t+0.5))
	}
	climb := func(from, to, perHour float64) {
		for t := from; t < to; t += perHour / slow / 12 {
			put(t)
		}
	}
	climb(20, 600, 150)
	for range 12 {
		put(600)
	}
	climb(600, 1222, 120)
	put(1222)
	put(1222)
	for t := 1222.0; t > 40; t -= (t - 20) / tau / 12 {
		put(t)
	}
	return e
}

// From the usual firings of a kiln, at every moment of another one's climb, the 90 % range of the time at
// which it reads 50 °C holds the truth nine times in ten: kilns whose climbs differ by 3 % and whose coolings
// by 4 % from firing to firing (one sd; invented).
func TestForecastHeatingHolds(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 1))
	inside, n, worst := 0, 0, 0.0
	for range 150 {
		one := func() kiln.Envelope { return firingCurve(1+0.03*r.NormFloat64(), 6*(1+0.04*r.NormFloat64())) }
		usual := []kiln.Envelope{one(), one(), one(), one()}
		now := one()
		end, top := 0, topOf(now)
		for i := top; middle(now, i) > 50; i++ {
			end = i + 1
		}
		for i := 12; i < top; i += 12 {
			f := ForecastHeating(now.After[i], middle(now, i), usual, 50)
			if !f.Known || !f.CoolKnown {
				t.Fatalf("not known %v after the first rise", now.After[i])
			}
			left := now.After[end] - now.After[i]
			n++
			if left >= f.Cool.Low && left <= f.Cool.High {
				inside++
			}
			worst = math.Max(worst, math.Abs((f.Peak - (now.After[top] - now.After[i])).Hours()))
		}
	}
	t.Logf("the range holds %d of %d; the peak is at most %.1f h off", inside, n, worst)
	if float64(inside) < 0.9*float64(n) {
		t.Errorf("the range holds %d of %d", inside, n)
	}
}

func TestForecastHeatingAhead(t *testing.T) {
	usual := []kiln.Envelope{firingCurve(1, 6), firingCurve(1, 6)}
	at := func(e kiln.Envelope, want kiln.Celsius) time.Duration {
		for i := range e.After {
			if middle(e, i) >= want {
				return e.After[i]
			}
		}
		return 0
	}
	now := at(usual[0], 900)
	for _, c := range []struct {
		name    string
		elapsed time.Duration
		t       kiln.Celsius
		curves  []kiln.Envelope
		known   bool
		ahead   time.Duration
	}{
		{"in time", now, 900, usual, true, 0},
		{"20 min late", now + 20*time.Minute, 900, usual, true, -20 * time.Minute},
		{"20 min early", now - 20*time.Minute, 900, usual, true, 20 * time.Minute},
		{"in the hold, in time", at(usual[0], 600) + 40*time.Minute, 600, usual, true, 0},
		{"hotter than it ever was", now, 1260, usual, false, 0},
		{"one curve is not enough", now, 900, usual[:1], false, 0},
		{"none", now, 900, nil, false, 0},
	} {
		f := ForecastHeating(c.elapsed, c.t, c.curves, 50)
		if f.Known != c.known || (f.Ahead-c.ahead).Abs() > 6*time.Minute {
			t.Errorf("%s: known %v, ahead %v", c.name, f.Known, f.Ahead)
		}
	}
}

func TestFallsOf(t *testing.T) {
	var past detect.Past
	falls := FallsOf(firingCurve(1, 6))
	if len(falls) != len(detect.FallLevels())-2 { // it ends above 40 °C
		t.Fatalf("%v", falls)
	}
	past.Fell(falls)
	past.Fell(FallsOf(firingCurve(1, 8)))
	if cold := FallsOf(kiln.Envelope{After: []time.Duration{0, time.Hour}, Low: []kiln.Celsius{500, 20},
		High: []kiln.Celsius{500, 20}}); cold != nil {
		t.Errorf("a firing to 500 °C tells how a kiln cools: %v", cold)
	}
	for _, c := range []struct {
		name     string
		past     detect.Past
		peak, to kiln.Celsius
		after    time.Duration
		want     bool
	}{
		{"as quickly as ever", past, 1222, 50, 21 * time.Hour, false},
		{"in half the time", past, 1222, 50, 11 * time.Hour, true},
		{"to a mark between two levels", past, 1222, 60, 18 * time.Hour, false},
		{"no history, after three hours", detect.Past{}, 1222, 50, 3 * time.Hour, true},
		{"no history, after five hours", detect.Past{}, 1222, 50, 5 * time.Hour, false},
		{"from 300 °C nobody knows", detect.Past{}, 300, 50, time.Hour, false},
	} {
		if got := c.past.TooSoon(c.peak, c.to, c.after); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

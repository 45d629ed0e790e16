package practice

import (
	"math"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
)

func near(t *testing.T, what string, got, want kiln.Celsius) {
	t.Helper()
	if math.Abs(float64(got-want)) > 1e-6 {
		t.Errorf("%s: %v °C, want %v", what, got, want)
	}
}

// 20>600@150 takes (600-20)/150 = 3.8667 h, >1120@180 (1120-600)/180 = 2.8889 h, h30 half an hour.
func TestProgramme(t *testing.T) {
	p, err := Parse("20>600@150 >1120@180 h30 off>95 U")
	if err != nil {
		t.Fatal(err)
	}
	h := func(x float64) time.Duration { return time.Duration(x * float64(time.Hour)) }
	near(t, "before the begin", p.T(-time.Hour), 20)
	near(t, "at the begin", p.T(0), 20)
	near(t, "after two hours", p.T(2*time.Hour), 320)
	near(t, "at 600", p.T(h(580.0/150)), 600)
	near(t, "an hour on", p.T(h(580.0/150+1)), 780)
	top := h(580.0/150) + h(520.0/180)
	near(t, "in the hold", p.T(top+10*time.Minute), 1120)
	// Newton: five hours after switching off 1100 K over the room are 1100/e.
	near(t, "a time constant after switching off", p.T(top+30*time.Minute+5*time.Hour),
		20+1100/kiln.Celsius(math.E))
	near(t, "at the end", p.T(p.Length()+time.Hour), 95)
	// 1100 e^(-t/5) = 75 at t = 5 ln(1100/75) = 13.4278 h
	if cool := p.Length() - top - 30*time.Minute; math.Abs(cool.Hours()-13.4278) > 1e-3 {
		t.Errorf("cools for %v", cool)
	}
	if m := p.Marks(); len(m) != 1 || m[0] != (Mark{p.Length(), Unpack}) {
		t.Errorf("marks %v", m)
	}
}

func TestSilenceGoesBesideTheProgramme(t *testing.T) {
	p := MustParse("20>800@780 s20 >1120@180 off60/1.5")
	if len(p.Silences()) != 1 || p.Silences()[0] != (Silence{time.Hour, time.Hour + 20*time.Minute}) {
		t.Fatalf("silences %v", p.Silences())
	}
	for after, silent := range map[time.Duration]bool{time.Hour - 1: false, time.Hour: true,
		79 * time.Minute: true, 80 * time.Minute: false} {
		if p.Silent(after) != silent {
			t.Errorf("silent at %v: %v", after, !silent)
		}
	}
	near(t, "in the silence", p.T(time.Hour+10*time.Minute), 830)
	near(t, "an hour of cooling with 1.5 h", p.T(p.Length()), 20+1100*kiln.Celsius(math.Exp(-1/1.5)))
}

func TestSun(t *testing.T) {
	p := MustParse("sun30~48x72")
	near(t, "in the morning", p.T(24*time.Hour), 30)
	near(t, "at its highest", p.T(36*time.Hour), 48)
	if p.Length() != 72*time.Hour {
		t.Errorf("lasts %v", p.Length())
	}
}

func TestWrongProgrammes(t *testing.T) {
	for notation, want := range map[string]string{
		"20>600":              "a ramp is written",
		"20>600@0":            "outside",
		"20>600@150 700>20@5": "only the first word",
		"20>600@x":            "no number",
		"off":                 "cannot cool from 20.0 to 30.0",
		"20>9000@5":           "outside",
		"hx":                  "no number",
		"20>600@0.1":          "longer than",
		"h40000 h40000":       "longer than",
		"sun3":                "a daily swing is written",
		"z":                   "no such word",
		"20>nan@5":            "outside",
		"20>1850.1@60":        "outside",
		"-50.1>20@60":         "outside",
	} {
		if _, err := Parse(notation); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", notation, err, want)
		}
	}
}

// The coldest and the hottest that a programme may name.
func TestEndsOfTheScale(t *testing.T) {
	p := MustParse("-50>1850@950")
	near(t, "at the beginning", p.T(-time.Second), -50)
	near(t, "half way", p.T(time.Hour), 900)
	near(t, "at the end", p.T(2*time.Hour), 1850)
	near(t, "after it", p.T(3*time.Hour), 1850)
	near(t, "of no programme", Programme{}.T(time.Hour), Room)
}

func FuzzParse(f *testing.F) {
	f.Add("20>600@150 >1222@60 h30 off60/1.5 s20 U B off>95 sun30~48x72 off")
	f.Add("-5>1240@120 off")
	f.Fuzz(func(t *testing.T, notation string) {
		p, err := Parse(notation)
		if err != nil {
			return
		}
		for i := range 20 {
			at := p.Length() * time.Duration(i) / 20
			if v := p.T(at); !v.Known() || v < -100 || v > 1900 {
				t.Fatalf("%q: %v °C at %v", notation, v, at)
			}
		}
	})
}

// The readings are a pure function of the age: the same whichever is asked first, with the noise
// that was ordered.
func TestCurve(t *testing.T) {
	c := Curve{Programme: MustParse("20>1222@150 off"), Noise: 0.15, Step: 0.1, Seed: 7, Off: 4}
	n, sum, squares := 20000, 0.0, 0.0
	for i := range n {
		after := time.Duration(i) * time.Second
		r := c.Reading(after)
		if r != c.Reading(after) {
			t.Fatal("the same age read twice differs")
		}
		if tenths := float64(r) * 10; math.Abs(tenths-math.Round(tenths)) > 1e-6 {
			t.Fatalf("%v is no multiple of 0.1", r)
		}
		d := float64(r - c.True(after))
		sum, squares = sum+d, squares+d*d
	}
	// Standard error of the sd is 0.15 / sqrt(2 n) = 0.00075; rounding to 0.1 adds 0.1²/12 to the variance.
	sd, want := math.Sqrt(squares/float64(n)), math.Sqrt(0.15*0.15+0.01/12)
	if math.Abs(sd-want) > 0.004 || math.Abs(sum/float64(n)) > 0.006 {
		t.Errorf("noise of sd %.4f (want %.4f) and mean %.4f", sd, want, sum/float64(n))
	}
	near(t, "true", c.True(2*time.Hour), 324)
	other := c
	other.Seed = 8
	if c.Reading(time.Hour) == other.Reading(time.Hour) &&
		c.Reading(2*time.Hour) == other.Reading(2*time.Hour) {
		t.Error("another seed, the same noise")
	}
}

func TestSwing(t *testing.T) {
	c := Curve{Programme: MustParse("20>900@880 >1200@300 h60"), Swing: Swing{Above: 1000, By: 25,
		Period: 20 * time.Minute}}
	near(t, "below", c.True(30*time.Minute), 460)
	for quarter, by := range []kiln.Celsius{0, 25, 0, -25, 0} {
		near(t, "some quarters of a period on", c.True(2*time.Hour+time.Duration(quarter)*5*time.Minute),
			1200+by)
	}
}

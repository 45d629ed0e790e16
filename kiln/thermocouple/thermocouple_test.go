package thermocouple

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"lidwright/kiln"
)

func ExampleType_Celsius() {
	// NIST Standard Reference Database 60, table of type K: 1000 °C is 41.276 mV.
	t, _ := K.Celsius(41.276, 0)
	fmt.Printf("%.1f °C\n", t)
	// Output: 1000.0 °C
}

func ExampleType_Celsius_coldJunction() {
	// By NIST's function of type K E(1222) = 49.637457 and E(25) = 1.000242 mV, so a meter at 25 °C
	// sees 48.637215 mV at 1222 °C. Adding 25 °C afterwards would give 1219.50 °C.
	t, _ := K.Celsius(48.637215, 25)
	hasty, _ := K.Celsius(48.637215, 0)
	fmt.Printf("%.4f °C, and not %.2f °C\n", t, hasty+25)
	// Output: 1222.0000 °C, and not 1219.50 °C
}

func ExampleLinearise() {
	// A fixed-slope front end at 25 °C reports 1203.34 °C where the couple is at 1222 °C:
	// 25 + 48.637215 / 0.041276.
	t, _ := Linearise(1203.3419, 25)
	fmt.Printf("%.2f °C\n", t)
	// Output: 1222.00 °C
}

func ExampleType_Tolerance() {
	plusMinus, inClass := K.Tolerance(2, 1000)
	fmt.Printf("±%.1f °C %v\n", plusMinus, inClass)
	plusMinus, inClass = K.Tolerance(2, 1222)
	fmt.Printf("±%.1f °C %v\n", plusMinus, inClass)
	// Output:
	// ±7.5 °C true
	// ±9.2 °C false
}

func rows(t testing.TB, name string) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all[1:]
}

func number(t testing.TB, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// NIST SRD 60: each row of its tables is its function rounded to 0.001 mV, so it must be met
// exactly. Negative zero of type B is printed without a sign.
func TestMillivoltPrintsTheTable(t *testing.T) {
	points := map[string]int{}
	worst := map[string]float64{}
	for _, row := range rows(t, "check_points.csv") {
		k, err := ParseType(row[0])
		if err != nil {
			t.Fatal(err)
		}
		e, ok := k.Millivolt(kiln.Celsius(number(t, row[1])))
		printed := strconv.FormatFloat(float64(e), 'f', 3, 64)
		if printed == "-0.000" {
			printed = "0.000"
		}
		if !ok || printed != row[2] {
			t.Errorf("type %s at %s °C: %s mV, NIST prints %s", k, row[1], printed, row[2])
		}
		points[row[0]]++
		worst[row[0]] = max(worst[row[0]], math.Abs(float64(e)-number(t, row[2])))
	}
	for _, k := range Types() {
		if points[k.String()] != 40 {
			t.Errorf("type %s: %d check points, want 40", k, points[k.String()])
		}
		t.Logf("type %s: worst residual %.6f mV", k, worst[k.String()])
	}
}

// Every coefficient of the Go tables stands in the file, in its place, and the other way round.
func TestTablesHoldTheCoefficients(t *testing.T) {
	type place struct {
		kind, direction, low, high, order string
	}
	want := map[place]float64{}
	for _, row := range rows(t, "coefficients.csv") {
		low, high := number(t, row[2]), number(t, row[3])
		want[place{row[0], row[1], fmt.Sprint(low), fmt.Sprint(high), row[5]}] = number(t, row[6])
	}
	if len(want) != 352 {
		t.Fatalf("%d rows, want 161 forward, 188 inverse and 3 of the exponential", len(want))
	}
	have := map[place]float64{}
	for _, k := range Types() {
		table := k.table()
		for direction, list := range map[string][]polynomial{"forward": table.forward,
			"inverse": table.inverse} {
			for _, p := range list {
				for order, value := range p.of {
					have[place{k.String(), direction, fmt.Sprint(p.low), fmt.Sprint(p.high),
						fmt.Sprint(order)}] = value
				}
			}
		}
		if b := table.bump; b != (bump{}) {
			last := table.forward[len(table.forward)-1]
			for order, value := range map[string]float64{"a0": b.a0, "a1": b.a1, "a2": b.a2} {
				have[place{k.String(), "forward_exp", fmt.Sprint(last.low),
					fmt.Sprint(last.high), order}] = value
			}
		}
	}
	for at, value := range want {
		if got, ok := have[at]; !ok || got != value {
			t.Errorf("%v: %v in Go, %v in the file", at, got, value)
		}
	}
	for at := range have {
		if _, ok := want[at]; !ok {
			t.Errorf("%v is not in the file", at)
		}
	}
}

// least is where the inverse of each type begins, in °C.
func least(k Type) kiln.Celsius {
	switch k {
	case B:
		return 250
	case R, S:
		return -50
	case J:
		return -210
	}
	return -200
}

// The ends of the voltages are those of the functions.
func TestEndsOfTheVoltages(t *testing.T) {
	for _, k := range Types() {
		_, high := k.Range()
		top, _ := k.Millivolt(high)
		if d := math.Abs(float64(top) - k.table().most); d > hairMillivolt/10 {
			t.Errorf("type %s: top off by %g mV", k, d)
		}
		if k == B {
			if k.table().least != 0.291 { // NIST's lower end of the inverse of B
				t.Errorf("type B begins at %v mV", k.table().least)
			}
			continue
		}
		bottom, _ := k.Millivolt(least(k))
		if d := math.Abs(float64(bottom) - k.table().least); d > hairMillivolt/10 {
			t.Errorf("type %s: bottom off by %g mV", k, d)
		}
	}
}

// Goal: t to mV and back within 1e-4 °C over the whole inverse, every 0.37 °C.
func TestRoundTrip(t *testing.T) {
	for _, k := range Types() {
		_, high := k.Range()
		worst := 0.0
		for at := least(k); at <= high; at += 0.37 {
			worst = max(worst, roundTrip(t, k, at))
		}
		worst = max(worst, roundTrip(t, k, high))
		t.Logf("type %s: worst %.3g °C", k, worst)
		if worst > 1e-4 {
			t.Errorf("type %s: round trip off by %g °C", k, worst)
		}
	}
}

func roundTrip(t testing.TB, k Type, at kiln.Celsius) float64 {
	t.Helper()
	e, ok := k.Millivolt(at)
	back, fault := k.Celsius(e, 0)
	if !ok || fault != kiln.Good {
		t.Fatalf("type %s at %v °C: %v mV, %v, %q", k, at, e, ok, fault)
	}
	return math.Abs(float64(back - at))
}

// Goal: no step above 1e-4 °C at any join of ranges, forward or inverse, tried 1e-9 mV to either side.
func TestNoStepAtTheJoins(t *testing.T) {
	for _, k := range Types() {
		var joins []Millivolt
		for _, p := range k.table().inverse[1:] {
			joins = append(joins, Millivolt(p.low))
		}
		for _, p := range k.table().inverse {
			joins = append(joins, Millivolt(p.high))
		}
		for _, p := range k.table().forward[1:] {
			e, _ := k.Millivolt(kiln.Celsius(p.low))
			joins = append(joins, e)
		}
		worst := 0.0
		for _, e := range joins {
			if float64(e) > k.table().most-1e-3 || float64(e) < k.table().least+1e-3 {
				continue // an end and no join
			}
			below, one := k.Celsius(e-1e-9, 0)
			on, two := k.Celsius(e, 0)
			above, three := k.Celsius(e+1e-9, 0)
			if one != kiln.Good || two != kiln.Good || three != kiln.Good {
				t.Errorf("type %s: %v mV has no range", k, e)
			}
			worst = max(worst, math.Abs(float64(on-below)), math.Abs(float64(above-on)))
		}
		t.Logf("type %s: worst step %.3g °C at %d joins", k, worst, len(joins))
		if worst > 1e-4 {
			t.Errorf("type %s: a step of %g °C", k, worst)
		}
	}
}

// What lies outside has no number, and is never pressed into the range.
func TestOutside(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, test := range []struct {
		k    Type
		e    float64
		cold kiln.Celsius
		want kiln.Fault
	}{
		{K, 54.887, 0, kiln.Break},
		{K, -5.892, 0, kiln.BelowRange},
		{K, nan, 0, kiln.Break},
		{K, inf, 0, kiln.Break},
		{K, -inf, 0, kiln.Break},
		{K, 20, kiln.Celsius(nan), kiln.NotConverted},
		{K, 20, kiln.Celsius(inf), kiln.NotConverted},
		{K, 20, -20.1, kiln.NotConverted},
		{K, 20, 70.1, kiln.NotConverted},
		{K, 20, -20, kiln.Good},
		{K, 20, 70, kiln.Good},
		{B, 0.290, 0, kiln.BelowRange}, // below 250 °C: a state
		{B, 0, 25, kiln.BelowRange},
		{B, 0.2935, 25, kiln.Good}, // the junction takes 0.0025 mV off
		{B, 0.2934, 25, kiln.BelowRange},
		{B, 5, -0.1, kiln.NotConverted},
		{B, 5, kiln.Celsius(nan), kiln.Good},
		{B, 13.821, 0, kiln.Break},
		{S, 18.694, 0, kiln.Break},
		{R, -0.227, 0, kiln.BelowRange},
		{Type('X'), 5, 20, kiln.NotConverted},
		{0, 5, 20, kiln.NotConverted},
	} {
		got, fault := test.k.Celsius(Millivolt(test.e), test.cold)
		if fault != test.want || (fault == kiln.Good) != got.Known() {
			t.Errorf("type %s, %v mV at %v °C: %v °C, %q; want %q", test.k, test.e,
				test.cold, got, fault, test.want)
		}
	}
	for _, k := range Types() {
		low, high := k.Range()
		for _, at := range []kiln.Celsius{low - 0.01, high + 0.01, kiln.Celsius(nan), kiln.Celsius(inf)} {
			if e, ok := k.Millivolt(at); ok || !math.IsNaN(float64(e)) {
				t.Errorf("type %s at %v °C: %v mV, %v", k, at, e, ok)
			}
		}
	}
	if _, ok := Type(0).Millivolt(20); ok {
		t.Error("no type has a voltage")
	}
}

// NIST's function of B: -0.002585 mV at 21.02 °C is the lowest, and 42.13 °C is zero again.
func TestFootOfTypeB(t *testing.T) {
	lowest, where := 1.0, kiln.Celsius(0)
	for at := kiln.Celsius(0); at < 60; at += 0.01 {
		if e, _ := B.Millivolt(at); float64(e) < lowest {
			lowest, where = float64(e), at
		}
	}
	zero, _ := B.Millivolt(42.13)
	if math.Abs(lowest+0.002585) > 1e-6 || math.Abs(float64(where)-21.02) > 0.02 ||
		math.Abs(float64(zero)) > 2e-6 {
		t.Errorf("lowest %v mV at %v °C, %v mV at 42.13 °C", lowest, where, zero)
	}
}

// B without a cold junction is off by at most 0.25 °C at 1222 °C for a junction of 0 to 50 °C.
func TestTypeBWithoutColdJunction(t *testing.T) {
	hot, _ := B.Millivolt(1222)
	for junction := kiln.Celsius(0); junction <= 50; junction++ {
		e, _ := B.Millivolt(junction)
		got, _ := B.Celsius(hot-e, kiln.NoTemperature())
		if math.Abs(float64(got-1222)) > 0.25 {
			t.Errorf("junction at %v °C: %v °C", junction, got)
		}
	}
}

// What the shortcut of adding degrees would do at 1222 °C, junction at 25 °C, recomputed from NIST's
// functions.
func TestColdJunctionInMillivolt(t *testing.T) {
	for k, want := range map[Type]float64{K: -2.50, N: 7.23, S: 13.17, R: 14.92, B: 25.24} {
		hot, _ := k.Millivolt(1222)
		cold, _ := k.Millivolt(25)
		right, _ := k.Celsius(hot-cold, 25)
		hasty, _ := k.Celsius(hot-cold, 0)
		if math.Abs(float64(right-1222)) > 1e-4 || math.Abs(float64(hasty+25-1222)-want) > 0.005 {
			t.Errorf("type %s: %v, hasty %+.2f; want 1222, %+.2f", k, right, hasty+25-1222, want)
		}
	}
}

// What a fixed slope does, junction at 25 °C, recomputed from NIST's function of K; and with steps
// of 0.25 °C left in, the undone value is within 0.11 °C.
func TestLinearise(t *testing.T) {
	for at, want := range map[kiln.Celsius]float64{300: -3.45, 573: 3.32, 1000: 0.76, 1063: -3.26,
		1222: -18.66, 1285: -27.22} {
		hot, _ := K.Millivolt(at)
		cold, _ := K.Millivolt(25)
		reported := 25 + kiln.Celsius(hot-cold)/fixedSlope
		if math.Abs(float64(reported-at)-want) > 0.005 {
			t.Errorf("at %v °C it reports %+.2f, want %+.2f", at, reported-at, want)
		}
		if got, fault := Linearise(reported, 25); fault != kiln.Good || math.Abs(float64(got-at)) > 1e-4 {
			t.Errorf("at %v °C: %v, %q", at, got, fault)
		}
		stepped := kiln.Celsius(math.Round(float64(reported)*4) / 4)
		if got, _ := Linearise(stepped, 25); math.Abs(float64(got-at)) > 0.13 {
			t.Errorf("at %v °C in steps of 0.25: %v", at, got)
		}
	}
	if _, fault := Linearise(1000, kiln.NoTemperature()); fault != kiln.NotConverted {
		t.Errorf("without a junction: %q", fault)
	}
}

// IEC 60584 classes as two suppliers' tables print them; the standard's text was not read.
func TestTolerance(t *testing.T) {
	for _, test := range []struct {
		k       Type
		class   Class
		at      kiln.Celsius
		want    float64
		inClass bool
	}{
		{K, 1, 573, 2.292, true}, {N, 2, 573, 4.2975, true}, {S, 1, 573, 1, true}, {R, 2, 573, 1.5, true},
		{B, 2, 573, 1.5, false},
		{K, 1, 1000, 4, true}, {K, 2, 1000, 7.5, true}, {S, 1, 1000, 1, true}, {S, 2, 1000, 2.5, true},
		{B, 2, 1000, 2.5, true},
		{K, 1, 1222, 4.888, false}, {K, 2, 1222, 9.165, false}, {R, 1, 1222, 1.366, true},
		{S, 2, 1222, 3.055, true}, {B, 2, 1222, 3.055, true},
		{S, 1, 1285, 1.555, true}, {R, 2, 1285, 3.2125, true}, {B, 2, 1285, 3.2125, true},
		{K, 2, 20, 2.5, true}, {T, 1, -40, 0.5, true}, {T, 2, 350, 2.625, true}, {J, 1, 751, 3.004, false},
		{E, 1, 800, 3.2, true}, {E, 2, 901, 6.7575, false},
	} {
		got, inClass := test.k.Tolerance(test.class, test.at)
		if math.Abs(float64(got)-test.want) > 1e-9 || inClass != test.inClass {
			t.Errorf("type %s class %d at %v °C: %v %v, want %v %v", test.k, test.class, test.at, got,
				inClass, test.want, test.inClass)
		}
	}
	for _, none := range []struct {
		k     Type
		class Class
		at    kiln.Celsius
	}{{B, 1, 1000}, {K, 3, 20}, {K, 0, 20}, {Type('X'), 2, 20}, {K, 2, kiln.NoTemperature()}} {
		if got, inClass := none.k.Tolerance(none.class, none.at); got.Known() || inClass {
			t.Errorf("%v: %v %v", none, got, inClass)
		}
	}
}

// The ranges of the classes as the same two tables print them: at both ends a couple is in its class, a
// degree beyond it is not.
func TestRangesOfClasses(t *testing.T) {
	for _, c := range []struct {
		types     []Type
		class     Class
		low, high kiln.Celsius
	}{
		{[]Type{K, N}, 1, -40, 1000}, {[]Type{J}, 1, -40, 750}, {[]Type{E}, 1, -40, 800},
		{[]Type{T}, 1, -40, 350},
		{[]Type{R, S}, 1, 0, 1600}, {[]Type{K, N}, 2, -40, 1200}, {[]Type{J}, 2, -40, 750},
		{[]Type{E}, 2, -40, 900},
		{[]Type{T}, 2, -40, 350}, {[]Type{R, S}, 2, 0, 1600}, {[]Type{B}, 2, 600, 1700},
	} {
		for _, k := range c.types {
			for at, want := range map[kiln.Celsius]bool{c.low - 1: false, c.low: true,
				c.high: true, c.high + 1: false} {
				if _, in := k.Tolerance(c.class, at); in != want {
					t.Errorf("type %s at %v °C is in class %d: %v", k, at, c.class, in)
				}
			}
		}
	}
}

// What is no type has no range, and says so where it is shown.
func TestNoType(t *testing.T) {
	if low, high := Type('X').Range(); low.Known() || high.Known() || Type('X').String() != "Type(88)" {
		t.Errorf("%v goes from %v to %v", Type('X'), low, high)
	}
	k := K
	if err := k.UnmarshalText([]byte("X")); err == nil || k != K {
		t.Errorf("read as %v, %v", k, err)
	}
	if err := k.UnmarshalText([]byte("s")); err != nil || k != S {
		t.Errorf("read as %v, %v", k, err)
	}
}

func TestParseType(t *testing.T) {
	for _, k := range Types() {
		for _, letter := range []string{k.String(), string(rune(k) + 'a' - 'A')} {
			if got, err := ParseType(letter); got != k || err != nil {
				t.Errorf("%q: %v, %v", letter, got, err)
			}
		}
	}
	for _, letter := range []string{"", "C", "KK", "ſ", "K ", "\x00"} {
		if _, err := ParseType(letter); err == nil {
			t.Errorf("%q was taken", letter)
		}
	}
}

// The inverse rises strictly with the voltage, and the forward function gives the voltage back.
func TestInverseProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom([]Type{K, S, R, N, B, J, E, T}).Draw(t, "type")
		low, high := k.table().least, k.table().most
		a := rapid.Float64Range(low, high).Draw(t, "a")
		b := rapid.Float64Range(low, high).Draw(t, "b")
		ta, one := k.Celsius(Millivolt(a), 0)
		tb, two := k.Celsius(Millivolt(b), 0)
		if one != kiln.Good || two != kiln.Good {
			t.Fatalf("%v, %v mV: %q, %q", a, b, one, two)
		}
		// Nearer than 1e-6 mV two results may lie within the error of the one Newton step.
		if a+1e-6 < b && ta >= tb || b+1e-6 < a && tb >= ta {
			t.Fatalf("%v mV is %v °C, %v mV is %v °C", a, ta, b, tb)
		}
		if back, ok := k.Millivolt(ta); !ok || math.Abs(float64(back)-a) > 1e-6 {
			t.Fatalf("%v mV is %v °C is %v mV, %v", a, ta, back, ok)
		}
	})
}

// No input panics, and a number comes only with Good.
func FuzzCelsius(f *testing.F) {
	f.Add(byte('K'), 41.276, 0.0)
	f.Add(byte('B'), 0.0, 21.02)
	f.Add(byte('T'), math.NaN(), math.Inf(-1))
	f.Add(byte(0), -1e308, 1e308)
	f.Fuzz(func(t *testing.T, letter byte, e, cold float64) {
		for _, k := range append([]Type{Type(letter)}, K, S, R, N, B, J, E, T) {
			got, fault := k.Celsius(Millivolt(e), kiln.Celsius(cold))
			if (fault == kiln.Good) != got.Known() || fault == kiln.Good && (got < -211 || got > 1821) {
				t.Errorf("type %s, %v mV, %v °C: %v, %q", k, e, cold, got, fault)
			}
			if mv, ok := k.Millivolt(kiln.Celsius(e)); ok == math.IsNaN(float64(mv)) {
				t.Errorf("type %s at %v °C: %v, %v", k, e, mv, ok)
			}
			k.Tolerance(Class(letter), kiln.Celsius(e))
			Linearise(kiln.Celsius(e), kiln.Celsius(cold))
		}
	})
}

func TestNothingIsAllocated(t *testing.T) {
	for _, k := range Types() {
		at := 0.0
		if n := testing.AllocsPerRun(100, func() {
			k.Celsius(Millivolt(5+at), 25)
			k.Millivolt(kiln.Celsius(300 + at))
			k.Tolerance(2, kiln.Celsius(300+at))
			at += 0.01
		}); n != 0 {
			t.Errorf("type %s: %v allocations", k, n)
		}
	}
}

// BenchmarkCelsius is one conversion with its cold junction. Goal: under 500 ns.
func BenchmarkCelsius(b *testing.B) {
	for _, k := range Types() {
		b.Run(k.String(), func(b *testing.B) {
			b.ReportAllocs()
			span := k.table().most - 1 - 0.5
			for i := range b.N {
				k.Celsius(Millivolt(0.5+span*float64(i%1000)/1000), 25)
			}
		})
	}
}

package detect

import (
	"bufio"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
)

// shape is one line of testdata/shapes.txt.
type shape struct {
	number   int
	load     kiln.Kind
	legs     []shapeLeg
	expected []string // "ended glaze"
	dips     int      // -1: not said
	gaps     int
	fell     int
	stalled  int
	holds    map[int]kiln.State // state at the end of the Nth hold
}

// shapeLeg is one word of a shape: a stretch of temperature, or something that happens at once.
type shapeLeg struct {
	word     string
	seconds  int
	from, to float64
	at       func(second float64) float64
	silent   int // seconds of silence from here on
	fact     FactKind
}

func readShapes(t testing.TB) []shape {
	t.Helper()
	file, err := os.Open("testdata/shapes.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	var shapes []shape
	for lines := bufio.NewScanner(file); lines.Scan(); {
		if line := strings.TrimSpace(lines.Text()); line != "" && line[0] != '#' {
			s, err := parseShape(line)
			if err != nil {
				t.Fatalf("%s: %v", line, err)
			}
			shapes = append(shapes, s)
		}
	}
	return shapes
}

func parseShape(line string) (s shape, err error) {
	fields := strings.Split(line, "|")
	if len(fields) != 5 {
		return s, fmt.Errorf("%d fields, not 5", len(fields))
	}
	for i := range fields {
		fields[i] = strings.TrimSpace(fields[i])
	}
	if s.number, err = strconv.Atoi(fields[0]); err != nil {
		return s, err
	}
	if fields[1] != "-" {
		s.load = kiln.Kind(fields[1])
	}
	t := 20.0
	for word := range strings.FieldsSeq(fields[2]) {
		l, err := parseShapeLeg(word, t)
		if err != nil {
			return s, err
		}
		t = l.to
		s.legs = append(s.legs, l)
	}
	if fields[3] != "" {
		s.expected = strings.Split(fields[3], ", ")
	}
	s.dips, s.gaps, s.fell, s.stalled, s.holds = -1, -1, -1, -1, map[int]kiln.State{}
	if fields[4] == "" {
		return s, nil
	}
	for item := range strings.SplitSeq(fields[4], ", ") {
		var word, state string
		var n int
		if _, err := fmt.Sscanf(item, "hold %d %s", &n, &state); err == nil {
			s.holds[n] = kiln.State(state)
			continue
		}
		if _, err := fmt.Sscanf(item, "%s %d", &word, &n); err != nil {
			return s, fmt.Errorf("%q: %w", item, err)
		}
		number, ok := map[string]*int{"dips": &s.dips, "gaps": &s.gaps, "fell": &s.fell,
			"stalled": &s.stalled}[word]
		if !ok {
			return s, fmt.Errorf("%q is not known", word)
		}
		*number = n
	}
	return s, nil
}

func parseShapeLeg(word string, t float64) (shapeLeg, error) {
	l := shapeLeg{word: word, from: t, to: t}
	number := func(s string) float64 {
		f, err := strconv.ParseFloat(s, 64)
		if err != nil {
			f = math.NaN()
		}
		return f
	}
	const room = 20.0
	switch {
	case word == "U":
		l.fact = Unpacked
	case word == "B":
		l.fact = NewFiring
	case strings.HasPrefix(word, "sun"):
		l.seconds = int(number(word[3:]) * 3600)
		l.at = func(s float64) float64 { return 39 - 9*math.Cos(s*2*math.Pi/86400) }
	case word[0] == 's':
		l.silent = int(number(word[1:]) * 60)
	case word[0] == 'h':
		l.seconds = int(number(word[1:]) * 60)
		l.at = func(float64) float64 { return t }
	case strings.HasPrefix(word, "off"):
		tau, to := 5*3600.0, 30.0
		switch rest := word[3:]; {
		case strings.HasPrefix(rest, "/"):
			tau = number(rest[1:]) * 3600
		case strings.HasPrefix(rest, "="):
			to = number(rest[1:])
		case rest != "":
			to = room + (t-room)*math.Exp(-number(rest)*60/tau)
		}
		l.to, l.seconds = to, int(tau*math.Log((t-room)/(to-room)))
		l.at = func(s float64) float64 { return room + (t-room)*math.Exp(-s/tau) }
	case strings.Contains(word, ">"):
		from, rest, _ := strings.Cut(word, ">")
		to, rate, _ := strings.Cut(rest, "@")
		if from != "" {
			t = number(from)
		}
		l.from, l.to = t, number(to)
		perSecond := math.Copysign(number(rate)/3600, l.to-t)
		l.seconds = int((l.to - t) / perSecond)
		l.at = func(s float64) float64 { return t + perSecond*s }
	default:
		return l, fmt.Errorf("%q is not known", word)
	}
	if math.IsNaN(l.to) || l.seconds < 0 {
		return l, fmt.Errorf("%q cannot be read", word)
	}
	return l, nil
}

// trial is what is done to a shape while it is played.
type trial struct {
	name    string
	swings  bool          // ±25 °C in 20 min above 1000 °C: a fuel kiln in reduction
	bad     float64       // share of readings that are not good
	restart time.Duration // the program, and every second time the machine, begins anew this often
	jumps   bool          // the clock on the wall jumps by years every minute
	every   int           // seconds from one sample to the next
}

var trials = []trial{
	{name: "plain", every: 1},
	{name: "swings", every: 2, swings: true},
	{name: "bad readings", every: 1, bad: 0.05},
	{name: "restarts", every: 2, restart: 90 * time.Minute},
	{name: "jumps", every: 2, jumps: true},
}

// play gives the samples of a shape one after another, and its facts where they fall.
func (s shape) play(tr trial, hear func(kiln.Sample), fact func(FactKind), hold func(n int)) {
	random := rand.New(rand.NewPCG(uint64(s.number), 0))
	const calm = 120 // the kiln stands for two minutes before
	second, silentTo, holds := 0, 0, 0
	wall := time.Date(2026, 1, 13, 10, 0, 0, 0, time.UTC)
	boot, booted, bootID := 0, 0, kiln.BootID("boot 0")
	say := func(t float64) {
		second++
		if tr.restart > 0 && second%int(2*tr.restart/time.Second) == 0 {
			boot, booted = boot+1, second
			bootID = kiln.BootID(fmt.Sprint("boot ", boot))
			silentTo = max(silentTo, second+40)
		}
		if tr.jumps && second%60 == 0 {
			wall = wall.AddDate(random.IntN(21)-10, 0, 0)
		}
		if second%tr.every != 0 {
			return
		}
		noise, broken := random.NormFloat64(), random.Float64()
		if second < silentTo {
			return
		}
		if tr.swings && t > 1000 {
			t += 25 * math.Sin(2*math.Pi*float64(second)/1200)
		}
		v := kiln.Value{Channel: "1", T: kiln.Celsius(math.Round((t+0.15*noise)*10) / 10)}
		if broken < tr.bad {
			v = kiln.Value{Channel: "1", T: kiln.NoTemperature(), Fault: kiln.Break}
		}
		hear(kiln.Sample{Kiln: "big-blue", Values: []kiln.Value{v}, At: kiln.Stamp{
			Boot: bootID, Since: time.Duration(second-booted+20) * time.Second,
			Wall: wall.Add(time.Duration(second) * time.Second)}})
	}
	for range calm {
		say(s.legs[0].from)
	}
	for _, l := range s.legs {
		if l.fact != "" {
			fact(l.fact)
		}
		silentTo = max(silentTo, second+l.silent)
		for i := range l.seconds {
			say(l.at(float64(i)))
		}
		if l.word[0] == 'h' {
			holds++
			hold(holds)
		}
	}
}

// shapePast is what the detector is told of the usual firings.
func (s shape) past() Past {
	if s.number == 22 {
		return Past{}
	}
	return Past{Usual: []Expected{
		{Kind: kiln.Bisque, Top: 1000, HeatWork: 1008},
		{Kind: kiln.Glaze, Top: 1222, HeatWork: 1221, Holds: []kiln.Hold{{At: 120, For: 3 * time.Hour},
			{At: 600, For: time.Hour}}},
	}}
}

package shrinkage

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"lidwright/kiln/message"
)

// mostLines is how many lines a bar has in the fit: nine pairs of marks at wet, dry, bisque and fired are
// 36. The work of a fit grows with the cube of them, so that none may set it for all other bars.
const mostLines = 60

// repeatOf names what was measured, by whom and how: readings of one name differ by their own error alone.
func (l line) repeatOf() string {
	name := fmt.Sprint(l.stage, "|", l.mark, "|", l.step, "|", l.reading.By)
	if l.heat != nil {
		name += fmt.Sprint("|", loadName(l.heat), "|", float64(l.heat.Work), "|", l.heat.Probe)
	}
	return name
}

// joinRepeats makes one line of readings that differ by their own error alone, save the reading alone;
// what they scatter stays with it, so that a fit says the same as of every one of them by itself. One
// farther from the middle of its repeats than slipAway sds, as the handbook has the sd of a reading, keeps
// a line to itself, for the screening to judge. Of more than mostLines the newest are left out.
func (f *equations) joinRepeats(s *sheet, alone string) (left []LeftOut) {
	if len(s.lines) < 2 {
		return nil
	}
	slices.SortFunc(s.lines, func(a, b line) int {
		return cmp.Or(a.reading.At.Compare(b.reading.At), cmp.Compare(a.reading.ID, b.reading.ID),
			cmp.Compare(a.length, b.length))
	})
	groups := map[string][]line{}
	var names []string
	for _, l := range s.lines {
		name := l.repeatOf()
		if l.reading.ID == alone {
			name = "alone"
		}
		if groups[name] == nil {
			names = append(names, name)
		}
		groups[name] = append(groups[name], l)
	}
	if len(names) == len(s.lines) && len(names) <= mostLines {
		return nil
	}
	var lines []line
	for _, name := range names {
		lines = append(lines, f.join(groups[name])...)
	}
	if len(lines) > mostLines {
		slices.SortStableFunc(lines, func(a, b line) int { return b.rank(alone) - a.rank(alone) })
		for _, l := range lines[mostLines:] {
			for _, r := range l.repeats {
				left = append(left, LeftOut{Reading: r.ID, Bar: s.bar.Code, Stage: l.stage,
					Why: message.New("the bar was measured more often than the fit takes")})
			}
		}
		lines = lines[:mostLines]
	}
	s.lines = lines
	return left
}

// rank is what stays first where a bar has too many lines: the reading that is asked about.
func (l line) rank(alone string) int {
	if l.reading.ID == alone {
		return 1
	}
	return 0
}

// join makes one line of those near the middle one of the group, in front of the others.
func (f *equations) join(group []line) []line {
	if len(group) < 2 {
		return group
	}
	logs := make([]float64, len(group))
	for i, l := range group {
		logs[i] = -100 * math.Log(l.length)
	}
	sorted := slices.Sorted(slices.Values(logs))
	middle := sorted[(len(sorted)-1)/2]
	own, fixed := f.readingNoise(math.Exp(-middle/100)/leftAt[group[0].stage], group[0])
	near := slipAway * math.Sqrt(own*square(float64(f.book.Reading))+fixed)
	one := line{}
	var out []line
	mean, n := 0.0, 0.0
	for i, l := range group {
		if math.Abs(logs[i]-middle) > near {
			out = append(out, l)
			continue
		}
		if n++; n == 1 {
			one = l
			one.repeats = nil
		}
		one.repeats = append(one.repeats, l.reading)
		if l.reading.ID < one.reading.ID {
			one.reading = l.reading
		}
		off := logs[i] - mean // Welford's mean and sum of squares
		mean += off / n
		one.within += off * (logs[i] - mean)
	}
	if n > 1 {
		one.length = math.Exp(-mean / 100)
	}
	return append([]line{one}, out...)
}

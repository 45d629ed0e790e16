package usecase

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/analysis"
	"lidwright/kiln/detect"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
)

func degreesMore(by float64) message.Message {
	return message.New("{1}", kiln.Difference{By: by, Places: 1, Sign: true})
}

func hoursMore(by float64) message.Message {
	return message.New("{1} h", message.Number{Value: by, Places: 1, Sign: true})
}

// quantities are what a trend can be seen in.
var quantities = []struct {
	name  string
	words message.Word
	say   func(perYear float64) message.Message
	of    func(f kiln.Firing, control kiln.ChannelID) float64
}{
	{"heat_work_c", "Heat work", degreesMore, func(f kiln.Firing, c kiln.ChannelID) float64 {
		if w, ok := f.Work(c); ok {
			return float64(w.C)
		}
		return math.NaN()
	}},
	{"peak_c", "Peak", degreesMore, func(f kiln.Firing, _ kiln.ChannelID) float64 { return float64(f.Peak) }},
	{"hours_to_top", "Hours to peak", hoursMore, func(f kiln.Firing, _ kiln.ChannelID) float64 {
		return someHours(f.ToTop)
	}},
	{"cooling_hours", "Hours of cooling", hoursMore, func(f kiln.Firing, _ kiln.ChannelID) float64 {
		if f.ToTop == 0 {
			return math.NaN()
		}
		return someHours(f.Length - f.ToTop)
	}},
}

func someHours(d time.Duration) float64 {
	if d <= 0 {
		return math.NaN()
	}
	return d.Hours()
}

// Trend looks at the firings of one kiln, kind and atmosphere over the last years.
func (s Firings) Trend(ctx context.Context, k kiln.KilnID, kind kiln.Kind, atmosphere kiln.Atmosphere,
	years int) (wire.Trend, error) {
	out := wire.Trend{Kiln: string(k), Kind: string(kind), Atmosphere: string(atmosphere), Years: years,
		Items: []wire.TrendItem{},
		Columns: []string{"firing", "name", "started_at", "heat_work_c", "peak_c",
			"hours_to_top", "cooling_hours",
			"correction_c"}, Rows: []wire.TrendRow{}}
	if _, ok := s.KilnNamed(k); !ok {
		return out, fmt.Errorf("%s: %w", k, record.ErrNoKiln)
	}
	all, err := s.Archive.Firings(ctx, kiln.FiringFilter{Kiln: k, Status: kiln.Ended, Limit: 2000})
	if err != nil {
		return out, err
	}
	control := s.Known(k).Control
	var mine []kiln.Firing
	for _, f := range all {
		if out.Kind == "" {
			out.Kind = string(f.Kind)
		}
		if string(f.Kind) == out.Kind && out.Atmosphere == "" {
			out.Atmosphere = string(f.Atmosphere)
		}
		if string(f.Kind) != out.Kind || string(f.Atmosphere) != out.Atmosphere ||
			len(mine) > 0 && f.Began.Wall.Before(mine[0].Began.Wall.AddDate(-years, 0, 0)) {
			continue
		}
		mine = append(mine, f)
		j := s.firingJSON(f, control, detect.Expected{})
		out.Rows = append(out.Rows, wire.TrendRow{Firing: j.ID, Name: j.Name, StartedAt: j.StartedAt,
			HeatWorkC: j.HeatWorkC, PeakC: j.PeakC, HoursToTop: j.HoursToTop, CoolingHours: j.CoolingHours,
			CorrectionC: j.CorrectionC})
	}
	for _, q := range quantities {
		t, err := analysis.TrendOf(mine, func(f kiln.Firing) float64 { return q.of(f, control) })
		item := wire.TrendItem{Quantity: q.name, Clear: t.Clear, Firings: t.Firings}
		switch {
		case errors.Is(err, analysis.ErrTooFew):
			item.Says = message.New("{1}: {2} firings, too few to see a trend in.", q.words, t.Firings)
		case err != nil:
			return out, err
		case !t.Clear:
			item.PerYear = Rounded(t.PerYear, 2)
			item.Says = message.New("{1}: no clear trend in {2} firings.", q.words, t.Firings)
		default:
			item.PerYear = Rounded(t.PerYear, 2)
			item.Says = message.New("{1}: {2} a year, over {3} firings; hardly by chance.", q.words,
				q.say(t.PerYear),
				t.Firings)
		}
		out.Items = append(out.Items, item)
	}
	return out, nil
}

package api

import (
	"fmt"

	"lidwright/kiln"
)

// firingJSON is a firing as the API tells it.
type firingJSON struct {
	ID           string       `json:"id"`
	Name         string       `json:"name" doc:"Kiln and number" example:"big-blue 143"`
	Kiln         string       `json:"kiln"`
	Kind         string       `json:"kind" enum:"bisque,glaze,once,other"`
	KindFrom     string       `json:"kind_from" doc:"fact, load or guessed"`
	Atmosphere   string       `json:"atmosphere" enum:"oxidation,reduction,unknown"`
	Source       string       `json:"source" doc:"serial, hand or import"`
	Load         *string      `json:"load"`
	Status       string       `json:"status" enum:"running,ended,incomplete"`
	Provisional  bool         `json:"provisional" doc:"Heat work may still grow"`
	StartedAt    *string      `json:"started_at"`
	EndedAt      *string      `json:"ended_at"`
	ClockTrusted bool         `json:"clock_trusted"`
	Hours        *float64     `json:"hours"`
	HoursToTop   *float64     `json:"hours_to_top"`
	CoolingHours *float64     `json:"cooling_hours"`
	PeakC        *float64     `json:"peak_c"`
	PeakAfterS   *int64       `json:"peak_after_s"`
	HeatWorkC    *float64     `json:"heat_work_c" doc:"End point in °C of a 60 °C/h firing that did the same work"`
	HeatWorkFrom string       `json:"heat_work_from" doc:"curve, cones, sitter or intended; empty while there is none"`
	HeatLikely   []*float64   `json:"heat_work_likely_c" doc:"90 % range; an upper end of null means at least"`
	Cone         string       `json:"cone" example:"6+0.1"`
	ConePosition *float64     `json:"cone_position"`
	ConeWords    string       `json:"cone_words"`
	HeatModel    string       `json:"heat_work_model"`
	Estimate     bool         `json:"heat_work_estimate" doc:"A gap or a fault lies where it matters"`
	Dips         []dipJSON    `json:"dips"`
	Gaps         []gapJSON    `json:"gaps"`
	Readings     readingsJSON `json:"readings"`
	Note         string       `json:"note"`
	Says         string       `json:"says" doc:"One sentence"`
}

type dipJSON struct {
	FromS   int64    `json:"from_s"`
	ToS     int64    `json:"to_s"`
	LowestC *float64 `json:"lowest_c"`
}

type gapJSON struct {
	AfterS int64  `json:"after_s"`
	ForS   *int64 `json:"for_s" doc:"null: of unknown length"`
	Why    string `json:"why"`
}

type readingsJSON struct {
	Good   int            `json:"good"`
	Faulty map[string]int `json:"faulty"`
}

func gapsJSON(gaps []kiln.Gap) []gapJSON {
	out := []gapJSON{}
	for _, g := range gaps {
		j := gapJSON{AfterS: seconds(g.After), Why: g.Why}
		if g.Known {
			n := seconds(g.For)
			j.ForS = &n
		}
		out = append(out, j)
	}
	return out
}

func (s *Server) firingJSON(f kiln.Firing, control kiln.ChannelID) firingJSON {
	j := firingJSON{
		ID: string(f.ID), Name: fmt.Sprintf("%s %d", f.Kiln, f.Number), Kiln: string(f.Kiln), Kind: string(f.Kind), KindFrom: f.KindFrom,
		Atmosphere: string(f.Atmosphere), Source: f.Source, Load: text(f.Load), Status: string(f.Status), Provisional: f.Provisional,
		StartedAt: s.moment(f.Began.Wall), EndedAt: s.moment(f.Over.Wall), ClockTrusted: f.Began.Trusted && (f.Over.Wall.IsZero() || f.Over.Trusted),
		Hours: hours(f.Length), PeakC: celsius(f.Peak), Dips: []dipJSON{}, Gaps: gapsJSON(f.Gaps), Note: f.Note,
		Readings: readingsJSON{Good: f.Good, Faulty: map[string]int{}},
	}
	if f.Peak.Known() {
		n := seconds(f.PeakAfter)
		j.PeakAfterS = &n
	}
	if f.ToTop > 0 {
		j.HoursToTop = hours(f.ToTop)
		if f.Status != kiln.Running {
			j.CoolingHours = hours(f.Length - f.ToTop)
		}
	}
	for _, d := range f.Dips {
		j.Dips = append(j.Dips, dipJSON{seconds(d.From), seconds(d.To), celsius(d.Lowest)})
	}
	for fault, n := range f.Faulty {
		j.Readings.Faulty[string(fault)] = n
	}
	h, ok := f.HeatWork[control]
	if !ok {
		for _, any := range f.HeatWork {
			h = any
		}
	}
	if h.Model != "" || ok {
		j.HeatWorkC, j.HeatWorkFrom, j.HeatModel, j.Estimate = celsius(h.C), h.From, h.Model, h.Estimate
		if h.C.Known() {
			j.HeatLikely = []*float64{celsius(h.Low), celsius(h.High)}
		}
		j.Cone, j.ConeWords, j.ConePosition = h.Text(), h.Words(), rounded(h.Position, 2)
	}
	j.Says = firingSays(f)
	return j
}

// firingSays is one sentence on a firing, of facts alone.
func firingSays(f kiln.Firing) string {
	says := ""
	for _, g := range f.Gaps {
		switch {
		case !g.Known:
			says = join(says, "a gap of unknown length")
		case g.For.Minutes() >= 1:
			says = join(says, fmt.Sprintf("gap %.0f min", g.For.Minutes()))
		}
	}
	for _, d := range f.Dips {
		says = join(says, fmt.Sprintf("a dip of %.0f min to %.0f °C", (d.To-d.From).Minutes(), float64(d.Lowest)))
	}
	if f.Status == kiln.Incomplete {
		says = join(says, "incomplete")
	}
	if f.AtLeast {
		says = join(says, "heat work at least this")
	}
	return says
}

func join(a, b string) string {
	if a == "" {
		return b
	}
	return a + "; " + b
}

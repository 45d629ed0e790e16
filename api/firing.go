package api

import (
	"fmt"

	"lidwright/kiln"
	"lidwright/kiln/analysis"
	"lidwright/kiln/detect"
	"lidwright/kiln/heatwork"
)

// firingJSON is a firing as the API tells it.
type firingJSON struct {
	ID           string       `json:"id"`
	Name         string       `json:"name" doc:"Kiln and number" example:"big-blue 143"`
	Kiln         string       `json:"kiln"`
	Kind         string       `json:"kind" enum:",bisque,glaze,once,other" doc:"Empty while nobody knows"`
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
	AsIndicated  *workJSON    `json:"as_indicated" doc:"What the probe alone says, before its cones correct it"`
	CorrectionC  *float64     `json:"correction_c" doc:"Added to every reading: what the witness cones say the probe lacks"`
	CorrectionSD *float64     `json:"correction_sd_c" doc:"One sd of it; without cones the tolerance of the probe's class"`
	Cone         string       `json:"cone" example:"6+0.1"`
	ConePosition *float64     `json:"cone_position"`
	ConeWords    string       `json:"cone_words"`
	HeatModel    string       `json:"heat_work_model"`
	Estimate     bool         `json:"heat_work_estimate" doc:"A gap or a fault lies where it matters"`
	Sitter       *sitterJSON  `json:"sitter" doc:"Of a firing by hand"`
	IntendedCone string       `json:"intended_cone"`
	Dips         []dipJSON    `json:"dips"`
	Gaps         []gapJSON    `json:"gaps"`
	Readings     readingsJSON `json:"readings"`
	StandIn      *standInJSON `json:"stand_in" doc:"A probe that spoke in the place of the control probe, which was broken; null where that spoke itself"`
	Note         string       `json:"note"`
	Usual        *bool        `json:"usual" doc:"Heat work and hours to the top as in the last firings of its kiln, kind and atmosphere; null while there is none to compare with"`
	Says         string       `json:"says" doc:"One sentence"`
}

type standInJSON struct {
	Probe  string `json:"probe" doc:"Peak and heat work are of it"`
	For    string `json:"for" doc:"The control probe"`
	AfterS int64  `json:"after_s" doc:"How long after the first rise it began to speak"`
}

// workJSON is a heat work beside another one.
type workJSON struct {
	HeatWorkC *float64   `json:"heat_work_c"`
	Likely    []*float64 `json:"heat_work_likely_c"`
	Cone      string     `json:"cone"`
	ConeWords string     `json:"cone_words"`
}

type sitterJSON struct {
	Cone      string  `json:"cone"`
	Series    string  `json:"series"`
	DroppedAt *string `json:"dropped_at"`
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

// probeOf is the channel that spoke for a firing: the control probe, or what stood in for it.
func (s *Server) probeOf(f kiln.Firing) kiln.ChannelID {
	if f.StandIn.Probe != "" {
		return f.StandIn.Probe
	}
	return s.Kiln[f.Kiln].Control
}

// firingJSON is a firing, of which usual is what was usual before it.
func (s *Server) firingJSON(f kiln.Firing, control kiln.ChannelID, usual detect.Expected) firingJSON {
	j := firingJSON{
		ID: string(f.ID), Name: f.Name(), Kiln: string(f.Kiln), Kind: string(f.Kind), KindFrom: f.KindFrom,
		Atmosphere: string(f.Atmosphere), Source: f.Source, Load: text(f.Load), Status: string(f.Status), Provisional: f.Provisional,
		StartedAt: s.moment(f.Began.Wall), EndedAt: s.moment(f.Over.Wall), ClockTrusted: f.Began.Trusted && (f.Over.Wall.IsZero() || f.Over.Trusted),
		Hours: hours(f.Length), PeakC: celsius(f.Peak), Dips: []dipJSON{}, Gaps: gapsJSON(f.Gaps), Note: f.Note,
		Readings: readingsJSON{Good: f.Good, Faulty: map[string]int{}},
	}
	if p := f.StandIn; p.Probe != "" {
		j.StandIn = &standInJSON{string(p.Probe), string(p.For), seconds(p.After)}
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
	h, ok := f.Work(control)
	if !ok {
		for _, any := range f.HeatWork {
			h = any
		}
	}
	if h.Model != "" || ok {
		j.HeatWorkC, j.HeatWorkFrom, j.HeatModel, j.Estimate = celsius(h.C), h.From, h.Model, h.Estimate
		j.HeatLikely = likely(h)
		j.Cone, j.ConeWords, j.ConePosition = heatwork.ConeText(h), heatwork.ConeWords(h), rounded(h.Position, 2)
	}
	if i, has := f.HeatWork[control]; has {
		j.AsIndicated = &workJSON{celsius(i.C), likely(i), heatwork.ConeText(i), heatwork.ConeWords(i)}
		if c, done := f.Corrected[kiln.Place{Channel: control}]; done {
			j.CorrectionC, j.CorrectionSD = celsius(c.Bias), celsius(c.BiasSD)
		}
	}
	if f.Told.Sitter != "" {
		j.Sitter = &sitterJSON{f.Told.Sitter, string(f.Told.SitterSeries), s.moment(f.Told.Dropped)}
	}
	j.IntendedCone = f.Told.Intended
	says := ""
	if f.Status == kiln.Ended {
		u := analysis.SayUsual(f, control, usual)
		if says = u.Says; u.Known {
			j.Usual = &u.Usual
		}
	} else {
		says = gapsSay(f)
	}
	j.Says = join(says, firingSays(f))
	return j
}

// likely is the 90 % range of a heat work; nil where there is none.
func likely(h kiln.HeatWork) []*float64 {
	if !h.C.Known() {
		return nil
	}
	return []*float64{celsius(h.Low), celsius(h.High)}
}

func gapsSay(f kiln.Firing) string {
	says := ""
	for _, g := range f.Gaps {
		switch {
		case !g.Known:
			says = join(says, "a gap of unknown length")
		case g.For.Minutes() >= 1:
			says = join(says, fmt.Sprintf("gap %.0f min", g.For.Minutes()))
		}
	}
	return says
}

// firingSays is what else there is to say of a firing, of facts alone.
func firingSays(f kiln.Firing) string {
	says := ""
	for _, d := range f.Dips {
		says = join(says, fmt.Sprintf("a dip of %.0f min to %.0f °C", (d.To-d.From).Minutes(), float64(d.Lowest)))
	}
	if p := f.StandIn; p.Probe != "" {
		says = join(says, fmt.Sprintf("probe %s spoke for probe %s, which was broken", p.Probe, p.For))
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
	if a == "" || b == "" {
		return a + b
	}
	return a + "; " + b
}

package usecase

import (
	"cmp"
	"context"
	"net/url"
	"slices"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/shrinkage"
)

// settleFor is how long an answer waits for what was just entered to be worked into the fit.
const settleFor = 150 * time.Millisecond

// settled is the fit with everything in it that was said so far, or, where that takes longer than
// settleFor, the last good one; nil if there is none.
func (s Bars) settled(ctx context.Context) *shrinkage.Fit { return s.SettledIn(ctx, settleFor) }

// SettledIn is settled with another time to wait; what a test hands in goes before it.
func (s Bars) SettledIn(ctx context.Context, wait time.Duration) *shrinkage.Fit {
	if s.Settle != nil && s.Settle() > 0 {
		wait = s.Settle()
	}
	ctx, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	fit, _, err := s.Shrink.Fit(ctx)
	if err != nil {
		return nil
	}
	return fit
}

// whyNotTexts say each reason, and what mends it where something does.
var whyNotTexts = map[tiles.NotCounted]struct{ says, fix message.Key }{
	tiles.WaitsForNextStage: {"It counts with the next stage measured on this bar.", ""},
	tiles.CheckOnly:         {"Soft and leather-hard lengths serve the check on the way, not the rate.", ""},
	tiles.NoFiring: {"No firing of its kind is known that passed its peak before it was measured.",
		"Which firing was it?"},
	tiles.HeatAssumed: {"Its heat is not known, and three bars of this clay with a known heat are there: it counts no more.",
		"Which firing was it?"},
	tiles.FiringIncomplete: {"Its firing is marked incomplete.", "Look at the firing"},
	tiles.NoHeatWork:       {"Its firing has no heat work yet: the record still goes on, or has neither curve nor cone.", "Look at the firing"},
	tiles.Replaced:         {"A corrected reading took its place.", ""},
	tiles.CrossedOut:       {"It was crossed out.", "Type it anew"},
	tiles.LooksWrong: {"It looks wrong, far from what the other readings say, and is left out.",
		"Measure it again"},
	tiles.Flagged: {"The bar is set aside: bent, broken, bloated or glazed over its marks.",
		"Look at the bar"},
	tiles.LearnersBar: {"It is a practice bar.", ""},
	tiles.NoWetLength: {"No other length of this bar counts, so nothing says how much it shrank.",
		"Enter its wet length"},
	tiles.NotConfirmed: {"It is not confirmed.", "Measure it again"},
}

// Counted says in j whether the reading r of b is a term of fit, and if not why and what to do.
func Counted(j *wire.Reading, b tiles.Bar, r tiles.Reading, fit *shrinkage.Fit) {
	b = fit.Assume(b)
	why := b.WhyNot(r)
	if r.Mass != nil {
		return
	}
	in, slipped := shrinkage.Counts(fit, b, r)
	if why == "" && slipped {
		why = tiles.LooksWrong
	}
	j.Counted = why == ""
	j.Pending = j.Counted != in && why != tiles.LooksWrong
	if why != "" {
		j.WhyNot = whyNot(why, b, r)
		return
	}
	if h, ok := b.HeatFor(r); ok && h.Assumed {
		l := heatwork.MainConeScale()
		j.HeatAssumed = &wire.HeatAssumed{HeatWorkC: Celsius(h.Work), Cone: l.Words(l.Position(h.Work)),
			SDC:  h.ExtraSD,
			Text: message.New("Its heat is assumed: {1}.", b.Assumed.Of(r.Stage).Says),
			Fix:  wire.Fix{Text: message.New("Which firing was it?"), Link: whichLink(b, r)}}
	}
}

// whichLink leads to where the firing of a reading is told.
func whichLink(b tiles.Bar, r tiles.Reading) string {
	return "/bar/" + url.PathEscape(string(b.Code)) + "?which=" + url.QueryEscape(r.ID) + "#which"
}

func whyNot(code tiles.NotCounted, b tiles.Bar, r tiles.Reading) *wire.WhyNot {
	w := whyNotTexts[code]
	out := &wire.WhyNot{Code: string(code), Text: message.New(w.says)}
	if w.fix == "" {
		return out
	}
	link := "/bar/" + url.PathEscape(string(b.Code))
	switch code {
	case tiles.NotConfirmed:
		if r.Needs() == "confirm" {
			link += "?again=" + url.QueryEscape(r.ID)
		}
	case tiles.NoFiring, tiles.HeatAssumed:
		link = whichLink(b, r)
	case tiles.FiringIncomplete, tiles.NoHeatWork:
		for _, h := range b.Firings {
			if m := tiles.Measures(h.Kind); (m == r.Stage || m == "") && h.Firing != "" {
				link = "/firing/" + url.PathEscape(string(h.Firing))
			}
		}
	}
	out.Fix = &wire.Fix{Text: message.New(w.fix), Link: link}
	return out
}

// NotCountedGroup is the readings of a clay that one reason keeps out.
type NotCountedGroup struct {
	wire.WhyNot // its fix is that of the first reading
	Readings    []wire.Reading
}

// NotCounted lists the lengths of bars that do not count, by reason: first what can be mended, then what
// is as it should be.
func NotCounted(bars []wire.BarJSON) []NotCountedGroup {
	by := map[string]*NotCountedGroup{}
	var order []string
	for _, b := range bars {
		for _, r := range b.Readings {
			if r.WhyNot == nil {
				continue
			}
			g := by[r.WhyNot.Code]
			if g == nil {
				g = &NotCountedGroup{WhyNot: *r.WhyNot}
				by[r.WhyNot.Code] = g
				order = append(order, r.WhyNot.Code)
			}
			g.Readings = append(g.Readings, r)
		}
	}
	slices.SortFunc(order, func(x, y string) int {
		if (by[x].Fix == nil) != (by[y].Fix == nil) {
			if by[x].Fix != nil {
				return -1
			}
			return 1
		}
		return cmp.Compare(x, y)
	})
	var out []NotCountedGroup
	for _, code := range order {
		out = append(out, *by[code])
	}
	return out
}

package tiles

import (
	"strings"
	"time"
	"unicode/utf8"
)

// Limit is what a field may hold, wherever it is filled in: the checks of the trade, the document of the API,
// fields of forms and the help of commands all take it from one table, by the name of the field.
type Limit struct {
	Longest     int     // characters of a text; 0: it is no text
	Least, Most float64 // of a number; both 0: it is none
	Optional    bool    // 0 stands for a number that is not said, though it is less than Least
	AsksBack    bool    // outside it the trade says more than a range, as which unit was meant, and no schema
}

// IsNumber reports whether the field is a number.
func (l Limit) IsNumber() bool { return l.Least != 0 || l.Most != 0 }

// Over reports whether a text is too long.
func (l Limit) Over(text string) bool {
	return l.Longest > 0 && utf8.RuneCountInString(text) > l.Longest
}

// How long texts may be, in characters.
const (
	LongestName   = 60
	LongestNote   = 500
	LongestMaker  = 8  // a mark, not a name
	LongestID     = 32 // of a clay, a batch or a kiln, which stand in addresses
	LongestLength = 24 // as typed with its unit: no rule or calliper needs more
	longestRef    = 2*LongestID + 1
	longestThing  = 64 // a firing or a load by its id, name or number
	longestNumber = 24 // as typed
)

// Numbers with a limit of their own; lengths in mm, masses in g, heat work in °C.
const (
	MostMarks                  = 9
	HeaviestPiece              = 20000
	HighestStated   Ratio      = 0.3                 // total shrinkage that a bag is believed to state
	MostLids                   = 500                 // of one board's result
	LowestHeatWork             = 550                 // that a cone can show
	HighestHeatWork            = 1400                // the same
	widestGap                  = 20                  // of a lid in its gallery, across
	longestQueue               = 90 * 24 * time.Hour // that an entry waits in an open page
	ShortestPiece   Millimetre = 5
	LongestPiece    Millimetre = 2000
)

// limits are those of each field by its name in the API. A form may call a field so too, or by the name
// without its unit; a command has hyphens in it.
var limits = func() map[string]Limit {
	all := map[string]Limit{}
	put := func(l Limit, fields string) {
		for _, f := range strings.Fields(fields) {
			all[f] = l
		}
	}
	put(Limit{Longest: LongestName}, "name maker_code stamp grog form shelf instrument series number channel pot")
	put(Limit{Longest: LongestName}, "kind atmosphere unit stage collar_stage lid_stage together accept "+
		"forming flags item")
	put(Limit{Longest: longestThing}, "pots")
	put(Limit{Longest: LongestMaker}, "bars")
	put(Limit{Longest: longestRef + longestNumber}, "parents") // with parts of the mix: tern/A=2
	put(Limit{Longest: LongestNote}, "note why text keep_shut_reason")
	put(Limit{Longest: LongestMaker}, "by maker packed_by code bar companion")
	put(Limit{Longest: LongestMaker, Most: MostMarks}, "mark")
	put(Limit{Longest: LongestID}, "clay kiln batch lid_clay lid_batch")
	put(Limit{Longest: longestRef}, "body lid")
	put(Limit{Longest: longestThing}, "firing load like to after id")
	put(Limit{Longest: 20}, "cone matures_cone stated_cone intended_cone sitter_cone")
	put(Limit{Longest: 36}, "supersedes reading")
	put(Limit{Longest: 10}, "made_on arrived_on fitted_on removed_on")
	put(Limit{Longest: 200}, "find q")
	put(Limit{Longest: 40}, "passcode join_code")
	put(Limit{Longest: LongestLength}, "length collar bowl opening set plays thrown collar_again wet_collar collar_now "+
		"lid_now lid_wet try gauge gauge_opening wet fired outside inside")
	put(Limit{Longest: longestNumber, Most: HeaviestPiece}, "dry_g saturated_g suspended_g")
	put(Limit{Longest: longestNumber, Least: 1, Most: HeaviestPiece}, "mass_wet_g mass_now_g")
	put(Limit{Longest: longestNumber, Most: 100}, "step_g")
	put(Limit{Longest: longestNumber, Least: float64(ShortestPiece),
		Most: float64(LongestPiece), Optional: true,
		AsksBack: true}, "mark_length_mm")
	put(Limit{Least: float64(ShortestPiece), Most: float64(LongestPiece), AsksBack: true},
		"collar_mm fired_mm thrown_mm opening_mm set_mm lid_mm bowl_mm")
	put(Limit{Longest: longestNumber, Most: 5}, "step step_mm")
	put(Limit{Longest: longestNumber, Most: widestGap},
		"play play_mm least_play least_play_mm most_play most_play_mm bearing bearing_mm")
	put(Limit{Longest: longestNumber, Least: -widestGap, Most: widestGap, AsksBack: true},
		"plays_mm") // below 0: it does not go in
	put(Limit{Longest: longestNumber, Most: 3},
		"glaze glaze_mm measure_sd measure_sd_mm throw_sd throw_sd_mm spread_sd_mm gauge_spread_sd")
	put(Limit{Longest: longestNumber, Most: 30}, "trim_most trim_most_mm")
	put(Limit{Longest: longestNumber, Least: 1, Most: MostMarks, Optional: true}, "marks")
	put(Limit{Longest: longestNumber, Least: LowestHeatWork, Most: HighestHeatWork, Optional: true},
		"heat_work_c")
	put(Limit{Longest: longestNumber, Least: float64(KeepShutLeast), Most: float64(KeepShutMost),
		AsksBack: true},
		"keep_shut_above_c")
	put(Limit{Longest: longestNumber, Most: float64(HighestStated)}, "stated_total_ratio")
	put(Limit{Longest: longestNumber, Most: 0.20},
		"drying_ratio body_drying_ratio lid_drying_ratio leather_ratio "+
			"body_leather_ratio lid_leather_ratio") // shares of the wet length
	put(Limit{Longest: longestNumber, Least: -0.05, Most: 0.30},
		"firing_ratio body_firing_ratio lid_firing_ratio")
	put(Limit{Longest: longestNumber, Least: -0.05, Most: 0.15},
		"bisque_ratio body_bisque_ratio lid_bisque_ratio")
	put(Limit{Longest: longestNumber, Most: 0.05}, "doubt_ratio")
	put(Limit{Longest: longestNumber, Least: 0.05, Most: 0.999}, "wanted_chance")
	put(Limit{Longest: longestNumber, Least: 1, Most: 5}, "sizes_most")
	put(Limit{Longest: 2}, "parts") // of an inch
	put(Limit{Longest: longestNumber}, "at_c at_f lids gauge_count count was_ml fired_ml wet_ml")
	put(Limit{Most: longestQueue.Seconds()}, "queued_s")
	put(Limit{Most: 180}, "tilt_deg")
	put(Limit{Least: 1, Most: 2, Optional: true}, "class")
	put(Limit{Longest: 3, Most: MostLids},
		"too_big tight good loose drops_in not_looked_at glued rocks chipped dropped")
	return all
}()

// LimitOf is the limit of a field by its name: as it stands in the API (bars.shelf goes by shelf), in a form
// or, with hyphens, in a command.
func LimitOf(field string) (Limit, bool) {
	name := strings.ReplaceAll(field[strings.LastIndexByte(field, '.')+1:], "-", "_")
	l, is := limits[strings.TrimRight(name, "_0123456789")]
	return l, is
}

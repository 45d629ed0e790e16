package pages

import "lidwright/kiln/message"

// lidLabels stand above the fields of the Lid page; those of a board are the same but for boardLabels. A
// fault names its field by them.
var lidLabels = map[string]message.Key{
	"batch":              "Bag",
	"body_leather_ratio": "Gone already, of the wet length",
	"check_stage":        "The gap to expect on the way",
	"collar_again":       "the same place read again",
	"collar_now":         "Its gallery now, leather-hard",
	"collar_stage":       "Measured when",
	"companion":          "Companion bar: scribed when the pot was thrown, kept beside it, read now",
	"cone":               "Target cone",
	"form":               "Form",
	"kind":               "Last firing",
	"lid":                "its width",
	"lid_batch":          "Bag of the lid",
	"lid_clay":           "Clay of the lid",
	"lid_now":            "The lid now, leather-hard",
	"lid_stage":          "Lid clay is",
	"lid_wet":            "The lid just thrown",
	"lids":               "Lids to throw for one pot",
	"maker":              "Maker's mark",
	"mass_now_g":         "The same piece now, g",
	"mass_wet_g":         "A companion piece weighed when thrown, g",
	"seat_glazed":        "Rim",
	"together":           "Lid and pot in the last firing",
	"trim":               "Trim",
	"trim_most":          "What may come off the rim, across",
	"unit":               "Unit of all lengths here",
	"wet_collar":         "its gallery when it was wet, from its card",
}

var boardLabels = map[string]message.Key{
	"opening":         "Ledge opening, all",
	"measured_lids":   "A line a lid: its name, a colon, its width",
	"measured_stage":  "Measured when",
	"gauge":           "The gauge",
	"gauge_opening":   "Ledge opening",
	"gauge_spread_sd": "They differ by, one sd",
	"companion":       "Companion bar, read now",
	"gauge_count":     "How many pots",
	"lids":            "How many lids",
	"sizes_most":      "Sizes at most",
	"wanted_chance":   "Enough is a chance of",
}

// LidLabel is what stands above a field of the Lid page; empty where the page has no label of that name.
func LidLabel(name string) string { return string(lidLabels[name]) }

// BoardLabel is the same of the page of a board.
func BoardLabel(name string) string {
	if own, is := boardLabels[name]; is {
		return string(own)
	}
	return LidLabel(name)
}

func (l Locale) lidLabel(name string) string { return l.Say(LidLabel(name)) }

func (l Locale) boardLabel(name string) string { return l.Say(BoardLabel(name)) }

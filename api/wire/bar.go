package wire

import "lidwright/kiln/message"

// BarBody is what is said of a bar: a test piece with two marks, or several pairs of them.
type BarBody struct {
	ID         string   `json:"id" doc:"UUIDv7 made by the sender"`
	Clay       string   `json:"clay"`
	Batch      string   `json:"batch,omitempty" doc:"Newest open batch if not named"`
	Forming    string   `json:"forming,omitempty" doc:"rolled, extruded, pulled, thrown_ring, cut_wall, cast, pressed; thrown_ring if not said"`
	MarkLength float64  `json:"mark_length_mm,omitempty" doc:"Distance of the marks as laid out; as in the settings (100) if not said"`
	Marks      int      `json:"marks,omitempty" doc:"Pairs of marks, or directions of a ring; 1 if not said"`
	MadeOn     string   `json:"made_on,omitempty"`
	By         string   `json:"by,omitempty" doc:"Maker's mark"`
	Practice   bool     `json:"practice,omitempty"`
	Flags      []string `json:"flags,omitempty"`
	Note       string   `json:"note,omitempty"`
}

// BarJSON is a bar with all that was read on it and every firing that it went through.
type BarJSON struct {
	Bar string `json:"bar"`
	BarBody
	Readings []Reading `json:"readings"`
	Firings  []Heat    `json:"firings"`
	Shrunk   *float64  `json:"total_ratio_so_far" doc:"Share of the wet length, of the last reading that counts"`
	Next     string    `json:"next_stage" doc:"The stage that is likely to be measured next; empty where it is fired and measured"`
	Derived  Derived   `json:"derived" doc:"Figures by their definitions, from the readings that count"`
}

// Derived are the figures of one bar by their definitions; null where its readings do not allow one.
type Derived struct {
	Drying     *Figure `json:"drying_ratio" doc:"(wet - dry)/wet, ASTM C326"`
	Firing     *Figure `json:"firing_ratio" doc:"(dry - fired)/dry"`
	Total      *Figure `json:"total_ratio" doc:"(wet - fired)/wet"`
	Absorption *Figure `json:"absorption_ratio" doc:"(saturated - dry)/dry mass, ASTM C373"`
	Porosity   *Figure `json:"apparent_porosity_ratio" doc:"(saturated - dry)/(saturated - suspended)"`
	Density    *Figure `json:"bulk_density_g_cm3" doc:"dry/(saturated - suspended), water at 1 g/cm3"`
	MassStage  string  `json:"mass_stage,omitempty" doc:"Stage at which the masses were taken"`
}

// Figure is a figure with its range, and how many readings it rests on.
type Figure struct {
	Value    *float64   `json:"value"`
	Likely   []*float64 `json:"likely" doc:"90 % range, from the instrument's step and the repeats"`
	Readings int        `json:"readings"`
}

// ReadingBody is a length that somebody read on a bar, or its masses.
type ReadingBody struct {
	Stage      string    `json:"stage" enum:"wet,soft,leather,dry,bisque,fired"`
	Length     string    `json:"length,omitempty" doc:"As written: 94.35, 94,35, 3 23/32"`
	Unit       string    `json:"unit,omitempty" enum:"mm,cm,in,32nds" doc:"Unit of a bare length"`
	Instrument string    `json:"instrument,omitempty" doc:"calliper, rule"`
	Step       float64   `json:"step_mm,omitempty" doc:"Smallest step of the instrument"`
	Mark       int       `json:"mark,omitempty"`
	By         string    `json:"by,omitempty"`
	QueuedS    float64   `json:"queued_s,omitempty" doc:"Time the entry waited in an open page"`
	Supersedes string    `json:"supersedes,omitempty" doc:"Id of the reading that this one corrects"`
	Cone       string    `json:"cone,omitempty" doc:"Of a bisque or fired length: the cone that its firing reached, where no firing is known"`
	Firing     string    `json:"firing,omitempty" doc:"Of a bisque or fired length: the firing that it came out of, by id or name, or last"`
	Mass       *MassBody `json:"mass_g,omitempty"`
}

// WhichFiring says which firing a bisque or fired length came out of, or what cone that reached.
type WhichFiring struct {
	Firing string `json:"firing,omitempty" doc:"By id or name, as big-blue/8 or big-blue/last; last: the last of its kind in the kiln of the clay"`
	Cone   string `json:"cone,omitempty" doc:"The cone that it reached, where no firing is known"`
}

// MassBody are the masses of one piece, in grams.
type MassBody struct {
	Dry       float64 `json:"dry_g"`
	Saturated float64 `json:"saturated_g"`
	Suspended float64 `json:"suspended_g,omitempty" doc:"In water"`
	Step      float64 `json:"step_g,omitempty" doc:"Smallest step of the balance"`
}

// Reading is a reading as it is kept, with what is thought of it.
type Reading struct {
	ID           string          `json:"id"`
	Bar          string          `json:"bar"`
	Stage        string          `json:"stage"`
	Mark         int             `json:"mark"`
	LengthMM     *float64        `json:"length_mm"`
	AsTyped      string          `json:"as_typed"`
	Unit         string          `json:"unit"`
	TotalRatio   *float64        `json:"total_ratio" doc:"Shrink since the wet reading, share of the wet length"`
	ExpectedMM   []*float64      `json:"expected_mm,omitempty"`
	Unusual      bool            `json:"unusual"`
	Slip         string          `json:"slip,omitempty" doc:"The mistake it looks like: inch_as_mm, mm_as_inch, ten_times, tenth, digits_swapped, digit_wrong, another_bar, longer_than_before, not_fired_yet, far_from_clay, far_from_usual"`
	Question     message.Message `json:"question,omitzero"`
	Fix          *string         `json:"fix,omitempty" doc:"What was probably meant, as it would be typed"`
	NotKept      bool            `json:"not_kept,omitempty" doc:"With ask: nothing is kept, the question comes first. The same entry without ask keeps it, not confirmed"`
	Earlier      *Earlier        `json:"earlier,omitempty" doc:"A length of before that this one and the others contradict; the question is about that one"`
	Needs        string          `json:"needs,omitempty" doc:"confirm: it is not confirmed, and does not count until a second reading that is entered afresh agrees, or the owner confirms it in a word; count: the owner alone lets it in"`
	Counted      bool            `json:"counted" doc:"A term of the fit that rates come from; with pending: as it will be"`
	Pending      bool            `json:"pending,omitempty" doc:"The fit does not say so yet"`
	WhyNot       *WhyNot         `json:"why_not,omitempty" doc:"Why it does not count"`
	HeatAssumed  *HeatAssumed    `json:"heat_assumed,omitempty" doc:"It counts, at a heat that nobody told"`
	By           string          `json:"by"`
	At           *string         `json:"at"`
	ClockTrusted bool            `json:"clock_trusted"`
	Mass         *MassBody       `json:"mass_g,omitempty"`
	Confirmed    *Act            `json:"confirmed,omitempty" doc:"By a second reading (why: read again), or by the owner's word"`
	Confirms     string          `json:"confirms,omitempty" doc:"Id of the earlier reading that this one, entered afresh, agrees with and confirmed: both count"`
	CountedBy    *Act            `json:"counted_by,omitempty" doc:"The owner's word that it counts"`
	Struck       *Act            `json:"struck"`
	Supersedes   *string         `json:"supersedes"`
}

// Earlier is a reading of before that later ones contradict.
type Earlier struct {
	ID         string          `json:"id"`
	Stage      string          `json:"stage"`
	LengthMM   *float64        `json:"length_mm"`
	ExpectedMM *float64        `json:"expected_mm"`
	Question   message.Message `json:"question"`
	Needs      string          `json:"needs,omitempty" doc:"confirm: it waits for a second reading anyway"`
}

// WhyNot says why something that was entered does not count, and what makes it count.
type WhyNot struct {
	Code string          `json:"code" doc:"waits_for_next_stage, check_only, no_firing, heat_assumed, firing_incomplete, no_heat_work, replaced, crossed_out, looks_wrong, flagged, practice, no_wet_length, not_confirmed"`
	Text message.Message `json:"text"`
	Fix  *Fix            `json:"fix,omitempty" doc:"Absent where there is nothing to mend"`
}

// HeatAssumed is the heat at which a length counts whose firing nobody told.
type HeatAssumed struct {
	HeatWorkC *float64        `json:"heat_work_c"`
	SDC       float64         `json:"sd_c" doc:"How far that may be off, one sd"`
	Cone      message.Message `json:"cone"`
	Text      message.Message `json:"text"`
	Fix       Fix             `json:"fix" doc:"Where the firing is told"`
}

// Fix is the one tap that makes something count.
type Fix struct {
	Text message.Message `json:"text"`
	Link string          `json:"link" doc:"Page of this site"`
}

// Act is who did something to a fact, why and when.
type Act struct {
	By  string  `json:"by"`
	Why string  `json:"why"`
	At  *string `json:"at"`
}

// Heat is one firing as a bar saw it: through the probe of its shelf.
type Heat struct {
	Load      string   `json:"load"`
	Shelf     string   `json:"shelf"`
	Kind      string   `json:"kind"`
	Kiln      string   `json:"kiln"`
	HeatWorkC *float64 `json:"heat_work_c"`
}

// FlagsBody is all that is wrong with a bar; what is not among them any more is taken off.
type FlagsBody struct {
	Flags []string `json:"flags" doc:"bent, bloated, glazed_mark, broken; empty: nothing is wrong with it"`
}

// BarPath names a bar by its code.
type BarPath struct {
	Bar string `path:"bar"`
}

// ReadingPath names a reading of a bar.
type ReadingPath struct {
	BarPath
	ID string `path:"id"`
}

// ActBody is who does something to a fact, and why.
type ActBody struct {
	Why string `json:"why,omitempty"`
	By  string `json:"by,omitempty"`
}

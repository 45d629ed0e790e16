package api

import (
	"net/url"
	"slices"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/board"
	"lidwright/tiles/lid"
	"lidwright/tiles/shrinkage"
)

// Parameter is one parameter of the questions about lids. The reader of a query, the document, the flags of a
// command, the fields of a form and the members of a JSON body are all made of the same table of them.
type Parameter struct {
	Name   string
	Doc    string
	Label  string // above its field in a form; empty: forms have none, or one of their own
	Length bool   // it may also be given as Name_mm, a number with a point alone
	Most   int    // how often it may be given

	asks  asks
	share bool                             // it is a share, as 0.06 or 6%
	least float64                          // of a number that has a range of its own
	most  float64                          // the same; 0: it has none
	kind  string                           // of the member of a body, as JSON Schema has it
	words []string                         // that the document names for that member
	read  func(r *reader, q *asked)        // from the query
	take  func(r *reader, q *asked, v any) // from a member of a body
}

// asks says which questions a parameter belongs to.
type asks uint8

const (
	ofLid asks = 1 << iota
	ofBoard
	ofBoth = ofLid | ofBoard
)

// asked is a question as it is read, before its parameters are held against one another.
type asked struct {
	lid.Question
	board board.Question // but for what it shares with a lid
	at    usecase.FiringAsk
	unit  tiles.LengthUnit // that it is to be answered in
	given map[string]bool  // what was said, by name

	clay, batch, lidClay, lidBatch string
	accept, cone                   string
	heat                           float64
	rimChecked                     bool
}

// cards says what pot cards may tell of the question, since its asker did not.
func (a *asked) cards() usecase.FromCards {
	return usecase.FromCards{Glazed: !a.given["seat_glazed"], Trim: !a.given["trim"]}
}

// sameInMM is what the document says of a length under its name in mm.
const sameInMM = "The same in mm, a number with a point alone"

// length is a length that need not be said.
func length(name, doc string, of asks, to func(*asked) **tiles.Millimetre) Parameter {
	set := func(q *asked, l tiles.Millimetre) { *to(q), q.given[name] = &l, true }
	return lengths(name, 1, doc, of, func(q *asked, all []tiles.Millimetre) { set(q, all[0]) })
}

// lengths is a length that may be given up to most times.
func lengths(name string, most int, doc string, of asks, set func(*asked, []tiles.Millimetre)) Parameter {
	return Parameter{Name: name, Doc: doc, Length: true, Most: most, asks: of, kind: huma.TypeNumber,
		read: func(r *reader, q *asked) {
			if all := r.lengths(name, most); len(all) > 0 {
				set(q, all)
			}
		},
		take: func(r *reader, q *asked, v any) {
			if mm, ok := v.(float64); ok && mm >= 0 {
				set(q, []tiles.Millimetre{tiles.Millimetre(mm)})
			} else {
				r.fault(name+"_mm", tiles.OutOfRange, "a length is a number from 0 up")
			}
		}}
}

// width is the one width of a part, which is more than nothing.
func width(name, doc string, of asks, to func(*asked) *tiles.Millimetre) Parameter {
	p := lengths(name, 1, doc, of, nil)
	p.read = func(r *reader, q *asked) {
		l := r.length(name)
		if l == nil {
			return
		}
		if *to(q) = *l; *l == 0 {
			r.fault(name+"_mm", tiles.OutOfRange, "must be more than nothing")
		}
	}
	return p
}

// word is one of some words.
func word[T ~string](name, doc string, of asks, words []string, to func(*asked) *T) Parameter {
	return Parameter{Name: name, Doc: doc, Most: 1, asks: of, kind: huma.TypeString,
		read: func(r *reader, q *asked) { *to(q) = T(r.word(name, words...)) },
		take: func(r *reader, q *asked, v any) { *to(q) = T(r.oneOf(name, v.(string), words)) }}
}

// yesNo is said by yes or no, and by true or false in a body.
func yesNo(name, doc string, of asks, to func(*asked) *bool) Parameter {
	return Parameter{Name: name, Doc: doc, Most: 1, asks: of, kind: huma.TypeBoolean,
		read: func(r *reader, q *asked) {
			if v, ok := r.yes(name); ok {
				*to(q), q.given[name] = v, true
			}
		},
		take: func(_ *reader, q *asked, v any) { *to(q), q.given[name] = v.(bool), true }}
}

// name is a name that people gave.
func name[T ~string](named, doc string, of asks, to func(*asked) *T) Parameter {
	return Parameter{Name: named, Doc: doc, Most: 1, asks: of, kind: huma.TypeString,
		read: func(r *reader, q *asked) { v, _ := r.text(named); *to(q) = T(v) },
		take: func(_ *reader, q *asked, v any) { *to(q) = T(v.(string)) }}
}

// number lies within the limit of its field.
func number(name, doc string, of asks, to func(*asked) *float64) Parameter {
	l, _ := tiles.LimitOf(name)
	return Parameter{Name: name, Doc: doc, Most: 1, asks: of, kind: huma.TypeNumber,
		least: l.Least, most: l.Most,
		read: func(r *reader, q *asked) {
			if v, ok := r.number(name, l.Least, l.Most); ok {
				*to(q), q.given[name] = v, true
			}
		},
		take: func(r *reader, q *asked, v any) {
			if v := v.(float64); r.within(name, v, l.Least, l.Most) {
				*to(q), q.given[name] = v, true
			}
		}}
}

// wholeNumber is one number from low to high.
func wholeNumber(name, doc string, of asks, low, high int, to func(*asked) *int) Parameter {
	return Parameter{Name: name, Doc: doc, Most: 1, asks: of, kind: huma.TypeNumber,
		least: float64(low), most: float64(high),
		read: func(r *reader, q *asked) {
			if n, ok := r.whole(name, low, high); ok {
				*to(q), q.given[name] = n, true
			}
		},
		take: func(r *reader, q *asked, v any) {
			if v := v.(float64); r.within(name, v, float64(low), float64(high)) && r.isWhole(name, v) {
				*to(q), q.given[name] = int(v), true
			}
		}}
}

// ratio is a share of a length, 0.06 or 6%.
func ratio(name, label, doc string, to func(*asked) **tiles.Ratio) Parameter {
	l, _ := tiles.LimitOf(name)
	set := func(q *asked, v tiles.Ratio) { *to(q) = &v }
	return Parameter{Name: name, Label: label, Doc: doc, Most: 1, asks: ofBoth, kind: huma.TypeNumber,
		least: l.Least, most: l.Most, share: true,
		read: func(r *reader, q *asked) {
			if v, ok := r.ratio(name, l.Least, l.Most); ok {
				set(q, v)
			}
		},
		take: func(r *reader, q *asked, v any) {
			if v := v.(float64); r.within(name, v, l.Least, l.Most) {
				set(q, tiles.Ratio(v))
			}
		}}
}

// labelled gives a parameter its label in forms.
func labelled(label string, p Parameter) Parameter { p.Label = label; return p }

// named gives the document the words of a member of a body.
func named(words []string, p Parameter) Parameter { p.words = words; return p }

// ofPieces is a parameter of the pieces of a board, which readBoard reads; a body has them in another form.
func ofPieces(name, doc string, length bool) Parameter {
	return Parameter{Name: name, Doc: doc, Length: length, Most: 1, asks: ofBoard}
}

func stage(name, doc string, to func(*asked) *tiles.Stage) Parameter {
	return word(name, doc, ofBoth, stageWords(), to)
}

var (
	kindWords       = []string{"bisque", "glaze", "once", "other"}
	atmosphereWords = []string{"oxidation", "reduction", "unknown"}
	togetherWords   = []string{"in_place", "same_load", "apart"}
	unitWords       = []string{"mm", "cm", "in", "32nds"}
)

// lidTable is every parameter of the questions about a lid and a board of lids, in the order in which flags
// and document tell them.
var lidTable = []Parameter{
	named(seatWords(), word("seat", "inset, flange, cap, drop_in, over, stopper; inset if not said", ofBoth,
		seatWords(),
		func(q *asked) *lid.Seat { return &q.Seat })),

	lengths("collar", 3, "Gallery, wall to wall (mouth, neck by seat): 104.5, 104.5mm, 3 3/4 in; up to 3 times, each another direction",
		ofLid, func(q *asked, all []tiles.Millimetre) { q.Collar = all }),
	lengths("collar_again", 2, "The first direction read again, up to twice", ofLid,
		func(q *asked, all []tiles.Millimetre) { q.CollarAgain = all }),
	width("opening", "Ledge opening", ofLid, func(q *asked) *tiles.Millimetre { return &q.Opening }),

	ofPieces("galleries", "8 to 30 pots, a line each: 104.5; 92.5 (gallery; ledge opening; another way round), a name before a colon if it has one", false),
	ofPieces("gauge", "In place of galleries: the gauge that all pots were thrown to", true),
	ofPieces("gauge_opening", "Their ledge opening", true),
	ofPieces("gauge_spread_sd", "How far the pots differ, one sd; the throwing sd if not said", true),
	ofPieces("gauge_count", "How many pots", false),
	wholeNumber("lids", "How many lids to throw; the fewest that reach wanted_chance if not said", ofBoard, 1,
		board.MostGalleries+board.MostGalleries/2, func(q *asked) *int { return &q.board.Lids }),
	number("wanted_chance", "That every pot gets a lid; 0.90 if not said", ofBoard,
		func(q *asked) *float64 { return &q.board.WantedChance }),
	wholeNumber("sizes_most", "1 to 5 sizes; 3 if not said", ofBoard, 1, 5,
		func(q *asked) *int { return &q.board.SizesMost }),
	ofPieces("measured_lids", "Lids as measured, a line each: 7: 102.3; asks which goes with which pot",
		false),
	ofPieces("measured_stage", "State of the clay when they were measured; wet if not said", false),

	stage("collar_stage", "wet, soft, leather, dry, bisque, fired: state of the pot when measured",
		func(q *asked) *tiles.Stage { return &q.CollarStage }),
	stage("lid_stage", "State of the lid clay at the size asked or given",
		func(q *asked) *tiles.Stage { return &q.LidStage }),
	width("lid", "With a collar: the gap of this lid. Without: the gallery to throw for it", ofLid,
		func(q *asked) *tiles.Millimetre { return &q.Question.Lid }),
	labelled("Play wanted after firing, across", length("play", "Play wanted after firing, across", ofBoth,
		func(q *asked) **tiles.Millimetre { return &q.Play })),
	labelled("Least good play", length("least_play", "Least good play, fired; by seat if not said", ofBoth,
		func(q *asked) **tiles.Millimetre { return &q.LeastPlay })),
	labelled("Most good play", length("most_play", "Most good play, fired; by seat if not said", ofBoth,
		func(q *asked) **tiles.Millimetre { return &q.MostPlay })),
	labelled("Least bearing when pushed aside", length("bearing", "Least overlap when pushed to one side",
		ofBoth,
		func(q *asked) **tiles.Millimetre { return &q.Bearing })),
	yesNo("seat_glazed", "yes or no; as the newest pot card of the form if not said", ofBoth,
		func(q *asked) *bool { return &q.SeatGlazed }),
	labelled("Glaze across in all, if glazed", length("glaze", "Glaze on seat and lid edge, across in all",
		ofBoth,
		func(q *asked) **tiles.Millimetre { return &q.Glaze })),

	name("clay", "Clay of the pot", ofBoth, func(q *asked) *string { return &q.clay }),
	name("batch", "Its batch; the newest open one if not said", ofBoth,
		func(q *asked) *string { return &q.batch }),
	name("lid_clay", "Clay of the lid; as the pot if not said", ofBoth,
		func(q *asked) *string { return &q.lidClay }),
	name("lid_batch", "Its batch", ofBoth, func(q *asked) *string { return &q.lidBatch }),
	word("kind", "bisque, glaze, once, other: last firing of the pair", ofBoth, kindWords,
		func(q *asked) *kiln.Kind { return &q.at.Kind }),
	word("atmosphere", "oxidation, reduction, unknown", ofBoth, atmosphereWords,
		func(q *asked) *kiln.Atmosphere { return &q.at.Atmosphere }),
	number("heat_work_c", "Heat work of that firing, 550 to 1400 °C", ofBoth,
		func(q *asked) *float64 { return &q.heat }),
	name("cone", "The same as a cone: 022 to 14, tenths as 6+0.1", ofBoth,
		func(q *asked) *string { return &q.cone }),
	name("kiln", "Whose usual firing", ofBoth, func(q *asked) *kiln.KilnID { return &q.at.Kiln }),
	word("together", "in_place, same_load, apart; as the newest pot card of the form if not said", ofBoth,
		togetherWords,
		func(q *asked) *shrinkage.Together { return &q.Together }),
	name("form", "Name of the form", ofBoth, func(q *asked) *string { return &q.Form }),
	name("maker", "Maker's mark", ofBoth, func(q *asked) *string { return &q.Maker }),
	name("companion", "Code of a bar measured with the pot", ofBoth,
		func(q *asked) *tiles.Code { return &q.Companion }),
	number("mass_wet_g", "Mass of a companion piece when thrown, g", ofBoth,
		func(q *asked) *float64 { return &q.MassWet }),
	number("mass_now_g", "Mass of the same piece now, g", ofBoth,
		func(q *asked) *float64 { return &q.MassNow }),

	ratio("body_drying_ratio", "Pot: drying", "Stated rate: 0.06 or 6%; share of the wet length",
		func(q *asked) **tiles.Ratio { return &q.BodyRates.Drying }),
	ratio("body_firing_ratio", "Pot: firing", "Share of the dry length",
		func(q *asked) **tiles.Ratio { return &q.BodyRates.Firing }),
	ratio("body_bisque_ratio", "Pot: bisque, if measured bisque", "Share of the dry length",
		func(q *asked) **tiles.Ratio { return &q.BodyRates.Bisque }),
	ratio("body_leather_ratio", "", "Shrink already gone, share of the wet length",
		func(q *asked) **tiles.Ratio { return &q.BodyRates.Leather }),
	ratio("lid_drying_ratio", "Lid: drying, if another", "The same of the lid, where it differs",
		func(q *asked) **tiles.Ratio { return &q.LidRates.Drying }),
	ratio("lid_firing_ratio", "Lid: firing, if another", "The same of the lid",
		func(q *asked) **tiles.Ratio { return &q.LidRates.Firing }),
	ratio("lid_bisque_ratio", "Lid: bisque", "The same of the lid",
		func(q *asked) **tiles.Ratio { return &q.LidRates.Bisque }),
	ratio("lid_leather_ratio", "Lid: gone already", "The same of the lid",
		func(q *asked) **tiles.Ratio { return &q.LidRates.Leather }),
	ratio("doubt_ratio", "How far each may be wrong, one sd", "sd of a stated part",
		func(q *asked) **tiles.Ratio { return &q.Doubt }),

	labelled("Step you can set", length("step", "What the maker can set; 0: do not round", ofBoth,
		func(q *asked) **tiles.Millimetre { return &q.Step })),
	labelled("How true you read, one sd", length("measure_sd", "How true one reading is, one sd", ofBoth,
		func(q *asked) **tiles.Millimetre { return &q.MeasureSD })),
	labelled("How true you throw, one sd", length("throw_sd", "How true the part is thrown, one sd", ofBoth,
		func(q *asked) **tiles.Millimetre { return &q.ThrowSD })),
	wholeNumber("lids", "1 to 3: largest spread shown", ofLid, 1, 3,
		func(q *asked) *int { return &q.Question.Lids }),
	lengths("wet_collar", 3, "Of a fired pot: its gallery when it was wet, from its card; up to 3 times",
		ofLid,
		func(q *asked, all []tiles.Millimetre) { q.WasCollar = all }),
	yesNo("trim", "yes or no: the lid may be trimmed at leather-hard; as on the maker's last pot card if not said", ofLid,
		func(q *asked) *bool { return &q.Trim }),
	length("trim_most", "What may come off its rim then, across; 4 mm if not said", ofLid,
		func(q *asked) **tiles.Millimetre { return &q.TrimMost }),
	lengths("lid_now", 1, "A lid at hand, leather-hard, before it is trimmed: what to trim it to", ofLid,
		func(q *asked, all []tiles.Millimetre) { q.LidNow = all[0] }),
	lengths("lid_wet", 1, "The same lid just thrown", ofLid, func(q *asked,
		all []tiles.Millimetre) {
		q.LidWet = all[0]
	}),
	lengths("collar_now", 3, "Its gallery at leather-hard; up to 3 times", ofLid,
		func(q *asked, all []tiles.Millimetre) { q.CollarNow = all }),
	yesNo("rim_checked", "no: nobody measures and corrects the rim once it is turned out; yes if not said",
		ofLid,
		func(q *asked) *bool { return &q.rimChecked }),
	lengths("try", 1, "Another width than the one to set: how likely it is too tight, fits or rattles", ofLid,
		func(q *asked, all []tiles.Millimetre) { q.Try = all[0] }),
	word("check_stage", "leather, dry, bisque: the gap to expect then", ofLid, []string{"leather", "dry",
		"bisque"},
		func(q *asked) *tiles.Stage { return &q.CheckStage }),
	word("accept", "wide: give a width that would be held back; unusual: answer though a size was asked about; all: both", ofBoth,
		[]string{"wide", "unusual", "all"}, func(q *asked) *string { return &q.accept }),
	word("unit", "mm, cm, in, 32nds: unit of bare lengths", ofBoth, unitWords,
		func(q *asked) *tiles.LengthUnit { return &q.unit }),
}

// parametersOf are those of one question.
func parametersOf(of asks) []Parameter {
	return slices.DeleteFunc(slices.Clone(lidTable), func(p Parameter) bool { return p.asks&of == 0 })
}

// LidParameters are those of the lid question, for the flags of a command.
func LidParameters() []Parameter { return parametersOf(ofLid) }

// BoardParameters are those of the board question that a command makes flags of; it has tables for the pots
// and the lids as measured.
func BoardParameters() []Parameter {
	return slices.DeleteFunc(parametersOf(ofBoard), func(p Parameter) bool {
		return p.Name == "galleries" || p.Name == "measured_lids"
	})
}

// Names are what a parameter goes by in a query: a length has another name for mm.
func (p Parameter) Names() []string {
	if p.Length {
		return []string{p.Name, p.Name + "_mm"}
	}
	return []string{p.Name}
}

// member is what a parameter goes by in a body.
func (p Parameter) member() string { return p.Names()[len(p.Names())-1] }

// Help is what is said of a parameter under one of its names.
func (p Parameter) Help(name string) string {
	if name != p.Name {
		return sameInMM
	}
	return p.Doc
}

// fieldsOf are the parameters of both questions that a form has a field with a label for: shares, or lengths.
func fieldsOf(shares bool) (fields []askedField) {
	for _, p := range lidTable {
		if p.Label != "" && p.share == shares {
			fields = append(fields, askedField{p.Name, p.Label})
		}
	}
	return fields
}

// inDocument are the parameters of a question for the document.
func inDocument(of asks) (all []*huma.Param) {
	for _, p := range parametersOf(of) {
		for _, name := range p.Names() {
			one := &huma.Param{Name: name, In: "query", Description: p.Help(name), Explode: new(bool)}
			one.Schema = &huma.Schema{Type: huma.TypeString, Description: one.Description}
			if *one.Explode = p.Most > 1; *one.Explode {
				one.Schema = &huma.Schema{Type: huma.TypeArray, Nullable: true, Items: one.Schema,
					Description: one.Description}
				one.Schema.Items = &huma.Schema{Type: huma.TypeString}
			}
			all = append(all, one)
		}
	}
	return all
}

// readAll reads every parameter of a question out of its query.
func (r *reader) readAll(of asks) *asked {
	q := &asked{given: map[string]bool{}, rimChecked: true}
	if unit := r.q.Get("unit"); slices.Contains(unitWords, unit) { // bare lengths are read in it
		r.unit = tiles.LengthUnit(unit)
	}
	for _, p := range parametersOf(of) {
		if p.read != nil {
			p.read(r, q)
		}
	}
	r.settle(q)
	return q
}

// settle holds parameters against one another, and fills in what follows from others.
func (r *reader) settle(q *asked) {
	if q.batch != "" && q.clay == "" {
		r.fault("batch", tiles.Missing, "goes with a clay: name the clay that it is a batch of")
	}
	if q.lidBatch != "" && q.lidClay == "" {
		q.lidClay = q.clay
	}
	q.Body = tiles.BatchRef{Clay: tiles.ClayID(q.clay), Batch: tiles.BatchID(q.batch)}
	q.LidClay = tiles.BatchRef{Clay: tiles.ClayID(q.lidClay), Batch: tiles.BatchID(q.lidBatch)}
	q.RimAsIs = !q.rimChecked
	if step := tiles.Millimetre(25.4 / 32); r.unit == tiles.Inch32nd && q.Step == nil {
		q.Step = &step // whoever is told 32nds sets 32nds
	}
	q.AcceptWide = q.accept == "wide" || q.accept == "all"
	q.AcceptUnusual = q.accept == "unusual" || q.accept == "all"
	if q.at.Kind == "" {
		q.at.Kind = kiln.Glaze
	}
	q.Kind = q.at.Kind
	if q.at.Heat = kiln.NoTemperature(); q.given["heat_work_c"] || q.cone != "" {
		q.at.Heat = r.heatOf(q.heat, q.given["heat_work_c"], q.cone)
	}
	if q.unit == "" {
		q.unit = r.usual
	}
}

// readLid takes a lid question out of its query.
func readLid(values url.Values, unit tiles.LengthUnit) (*asked, error) {
	r := newReader(values, unit)
	q := r.readAll(ofLid)
	return q, r.err()
}

// Package tables gives what is kept out as tables and takes tables in: those that it gave, and the notebooks
// of potters.
//
// Out flow rows of bars, readings, pots and loads with a header, cells that a spreadsheet cannot run as a
// formula, and numbers with a point. In flow the bytes of a file, read by kiln/delimited, and the answers to
// what a table leaves open; out of that come facts for the use cases, rows that are bad, each with its line
// and field, and questions that people must answer first. A dry run says all of that and keeps nothing.
//
// It speaks no HTTP and draws no page.
package tables

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// Tables gives tables out and takes them in.
type Tables struct{ *usecase.Studio }

// A Table is one kind of what is kept, a row each, struck ones too. What is a string in put is a
// text, and gets the sign of tiles.SafeCell where a spreadsheet would take it for a formula; numbers,
// times and yes or no are written as they are. nil is an empty cell.
type Table struct {
	Name, Columns string
	Rows          func(s *usecase.Studio, ctx context.Context, put func(cells ...any)) error

	key int // so many of the first columns name a row
	// columns that are worked out, or that another table tells
	derived string
	acts    string                                  // columns of what was done to a fact afterwards
	newest  bool                                    // the newest row stands first
	takes   func(t *tableTaker, r *tableRow) keeper // nil: it is not taken in
}

// All are all tables but those of bars and readings, in the order in which they can be taken in: what a table
// refers to comes before it.
var All = []Table{
	{Name: "clays", Columns: "clay,name,maker_code,matures_cone,stated_total_ratio,stated_cone,grog,note",
		Rows: claysTable, key: 1, takes: (*tableTaker).clay},
	{Name: "batches", Columns: "clay,batch,kind,stamp,arrived_on,parents,open,note",
		Rows: batchesTable, key: 2,
		takes: (*tableTaker).batch},
	{Name: "firings", Columns: "id,name,kiln,kind,kind_from,atmosphere,source,load,status,started_at,ended_at,clock_trusted,hours,hours_to_top,cooling_hours,peak_c,heat_work_c,heat_work_low_c,heat_work_high_c,heat_work_from,cone,heat_work_model,sitter_cone,sitter_dropped_at,intended_cone,note,sitter_series,typed",
		Rows: firingsTable, key: 1, newest: true, takes: (*tableTaker).firing,
		derived: "name kind_from load hours hours_to_top cooling_hours peak_c heat_work_c heat_work_low_c heat_work_high_c heat_work_from cone heat_work_model"},
	{Name: "gaps", Columns: "firing,after_s,for_s,why", Rows: gapsTable},
	{Name: "dips", Columns: "firing,from_s,to_s,lowest_c", Rows: dipsTable},
	{Name: "loads", Columns: "id,number,kiln,kind,atmosphere,firing,packed_by,opened_at,unpacked_at,stated_heat_work_c,note", Rows: loadsTable, key: 1, newest: true, takes: (*tableTaker).load, derived: "number", acts: "unpacked_at"},
	{Name: "load_bars", Columns: "load,bar,shelf", Rows: loadBarsTable, key: 2, takes: (*tableTaker).loadBar},
	{Name: "cones", Columns: "id,firing,shelf,cone,series,tilt_deg,seen,by,at,clock_trusted,struck_at,struck_why,struck_by", Rows: conesTable, key: 1, takes: (*tableTaker).cone, acts: "struck_at struck_why struck_by"},
	{Name: "notes", Columns: "id,firing,text,happened_at,incident,by,at,clock_trusted,struck_at,struck_why,struck_by", Rows: notesTable, key: 1, takes: (*tableTaker).note, acts: "struck_at struck_why struck_by"},
	{Name: "probes", Columns: "id,kiln,channel,type,class,fitted_on,removed_on,note",
		Rows: probesTable, key: 1,
		takes: (*tableTaker).probe},
	{Name: "keep_shut", Columns: "id,kiln,keep_shut_above_c,keep_shut_reason,by,at,clock_trusted",
		Rows: marksTable, key: 1, newest: true, takes: (*tableTaker).keepShut},
	{Name: "pots", Columns: "id,mark,number,form,seat,seat_glazed,together,collar_mm,collar_stage,opening_mm,body,lid,set_mm,lid_mm,made_on,note", Rows: potsTable, key: 1, newest: true, takes: (*tableTaker).pot},
	{Name: "lid_results", Columns: "id,load,pots,form,maker,seat,seat_glazed,body,lid,too_big,tight,good,loose,drops_in,not_looked_at,glued,rocks,chipped,dropped,plays_mm,thrown_mm,least_play_mm,most_play_mm,bearing_mm,by,at,clock_trusted,struck_at,struck_why,struck_by",
		Rows: lidResultsTable, key: 1, newest: true, takes: (*tableTaker).lidResult,
		acts: "struck_at struck_why struck_by"},
}

// Names are the names of what can be had as a table, in order.
func Names() []string {
	names := []string{"bars", "readings"}
	for _, t := range All {
		names = append(names, t.Name)
	}
	slices.Sort(names)
	return names
}

// In are the kinds of tables that can be taken in, in the order in which they should be.
func In() []string {
	var names []string
	for _, t := range All {
		if t.takes != nil {
			names = append(names, t.Name)
		}
		switch t.Name {
		case "batches":
			names = append(names, "bars")
		case "load_bars":
			names = append(names, "readings")
		}
	}
	return names
}

// struckCells are when, why and by whom something was struck.
func struckCells(a *tiles.Act) []any {
	if a == nil {
		return []any{nil, nil, nil}
	}
	return []any{a.At, a.Why, a.By}
}

func claysTable(s *usecase.Studio, ctx context.Context, put func(...any)) error {
	clays, err := s.Archive.Clays(ctx)
	for _, c := range clays {
		var stated any
		if c.Stated != 0 {
			stated = float64(c.Stated)
		}
		put(string(c.ID), c.Name, c.MakerCode, c.MaturesCone, stated, c.StatedCone, c.Grog, c.Note)
	}
	return err
}

func batchesTable(s *usecase.Studio, ctx context.Context, put func(...any)) error {
	batches, err := s.Archive.Batches(ctx)
	for _, b := range batches {
		put(string(b.Clay), string(b.BatchRef.Batch), string(b.Kind), b.Stamp, b.Arrived,
			strings.Join(b.ParentTexts(), " "), b.Open, b.Note)
	}
	return err
}

func refText(r tiles.BatchRef) string {
	if r.Batch == "" {
		return string(r.Clay)
	}
	return string(r.Clay) + "/" + string(r.Batch)
}

func loadsTable(s *usecase.Studio, ctx context.Context, put func(...any)) error {
	loads, err := s.Archive.Loads(ctx, tiles.LoadFilter{})
	for _, l := range loads {
		var stated any
		if l.Stated != 0 {
			stated = l.Stated
		}
		put(l.ID, l.Number, string(l.Kiln), string(l.Kind), string(l.Atmosphere),
			string(l.Firing), l.PackedBy,
			l.Opened, l.Unpacked, stated, l.Note)
	}
	return err
}

func loadBarsTable(s *usecase.Studio, ctx context.Context, put func(...any)) error {
	loads, err := s.Archive.Loads(ctx, tiles.LoadFilter{})
	for _, l := range loads {
		for _, b := range l.Bars {
			put(l.ID, string(b.Bar), b.Shelf)
		}
	}
	return err
}

func firingsTable(s *usecase.Studio, ctx context.Context, put func(...any)) error {
	return Tables{s}.EachFiring(ctx, func(f kiln.Firing) error {
		j := s.Firings().Firing(f, detect.Expected{})
		low, high := (*float64)(nil), (*float64)(nil)
		if len(j.HeatLikely) == 2 {
			low, high = j.HeatLikely[0], j.HeatLikely[1]
		}
		typed, err := Tables{s}.typedCell(ctx, f)
		if err != nil {
			return err
		}
		var sitter wire.Sitter
		if j.Sitter != nil {
			sitter = *j.Sitter
		}
		put(j.ID, j.Name, j.Kiln, j.Kind, j.KindFrom, j.Atmosphere, j.Source, j.Load, j.Status, j.StartedAt,
			j.EndedAt, j.ClockTrusted, j.Hours, j.HoursToTop, j.CoolingHours, j.PeakC,
			j.HeatWorkC, low, high, j.HeatWorkFrom, j.Cone, j.HeatModel, sitter.Cone,
			sitter.DroppedAt, j.IntendedCone,
			j.Note, string(f.Told.SitterSeries), typed)
		return nil
	})
}

// typedCell is the typed curve of a firing by hand: hours=°C, one behind the other.
func (s Tables) typedCell(ctx context.Context, f kiln.Firing) (string, error) {
	if f.Source != "hand" {
		return "", nil
	}
	c, err := s.Archive.Curve(ctx, f.ID, []kiln.ChannelID{kiln.ByHandChannel}, usecase.TypedGap)
	if err != nil {
		return "", err
	}
	var points []string
	for i, t := range c.Column(kiln.ByHandChannel) {
		if t.Known() {
			points = append(points, strconv.FormatFloat(c.After[i].Hours(), 'f', -1,
				64)+"="+strconv.FormatFloat(float64(t), 'f', -1, 64))
		}
	}
	return strings.Join(points, " "), nil
}

func gapsTable(s *usecase.Studio, ctx context.Context, put func(...any)) error {
	return Tables{s}.EachFiring(ctx, func(f kiln.Firing) error {
		for _, g := range usecase.GapsJSON(f.Gaps) {
			var long any
			if g.ForS != nil {
				long = *g.ForS
			}
			put(string(f.ID), g.AfterS, long, g.Why)
		}
		return nil
	})
}

func dipsTable(s *usecase.Studio, ctx context.Context, put func(...any)) error {
	return Tables{s}.EachFiring(ctx, func(f kiln.Firing) error {
		for _, d := range f.Dips {
			put(string(f.ID), usecase.Seconds(d.From), usecase.Seconds(d.To), d.Lowest)
		}
		return nil
	})
}

func conesTable(s *usecase.Studio, ctx context.Context, put func(...any)) error {
	return Tables{s}.EachFiring(ctx, func(f kiln.Firing) error {
		cones, err := s.Archive.Cones(ctx, f.ID)
		for _, c := range cones {
			var tilt any
			if c.Tilted {
				tilt = c.Tilt
			}
			put(append([]any{c.ID, string(c.Firing), c.Shelf, c.Cone, c.Series, tilt,
				c.Seen, c.By, c.At, c.Trusted},
				struckCells(c.Struck)...)...)
		}
		return err
	})
}

func notesTable(s *usecase.Studio, ctx context.Context, put func(...any)) error {
	return Tables{s}.EachFiring(ctx, func(f kiln.Firing) error {
		notes, err := s.Archive.Notes(ctx, f.ID)
		for _, n := range notes {
			put(append([]any{n.ID, string(n.Firing), n.Text, n.Happened, n.Incident, n.By, n.At, n.Trusted},
				struckCells(n.Struck)...)...)
		}
		return err
	})
}

func probesTable(s *usecase.Studio, ctx context.Context, put func(...any)) error {
	probes, err := s.Archive.Probes(ctx, "")
	for _, p := range probes {
		put(p.ID, string(p.Kiln), string(p.Channel), p.Type, p.Class, p.Fitted, p.Removed, p.Note)
	}
	return err
}

func marksTable(s *usecase.Studio, ctx context.Context, put func(...any)) error {
	marks, err := s.Archive.KeepShuts(ctx, "")
	for _, m := range marks {
		put(m.ID, string(m.Kiln), m.Mark, m.Reason, m.By, m.At, m.Trusted)
	}
	return err
}

func potsTable(s *usecase.Studio, ctx context.Context, put func(...any)) error {
	pots, err := s.Archive.Pots(ctx, lid.PotFilter{})
	for _, p := range pots {
		put(p.ID, p.Mark, p.Number, p.Form, string(p.Seat), p.SeatGlazed, string(p.Together), p.Collar,
			string(p.Stage), p.Opening, refText(p.Body), refText(p.Lid), p.Set, p.Measured, p.MadeOn, p.Note)
	}
	return err
}

func lidResultsTable(s *usecase.Studio, ctx context.Context, put func(...any)) error {
	boards, err := s.Archive.LidResults(ctx, lid.ResultFilter{})
	for _, v := range boards {
		var limits lid.Limits
		if v.Limits != nil {
			limits = *v.Limits
		}
		sat, lost := v.Sat, v.Losses
		put(append([]any{v.ID, v.Load, strings.Join(v.Pots, " "), v.Form, v.Maker, string(v.Seat),
			v.SeatGlazed, refText(v.Body), refText(v.Lid),
			sat.TooBig, sat.Tight, sat.Good, sat.Loose, sat.DropsIn, sat.NotLookedAt, lost.Glued, lost.Rocks,
			lost.Chipped, lost.Dropped,
			v.Plays, v.Thrown, limits.LeastPlay, limits.MostPlay, limits.Bearing, v.By, v.At,
			v.Trusted}, struckCells(v.Struck)...)...)
	}
	return err
}

package tiles

import (
	"slices"
	"strings"
)

// SheetColumns are the columns of a sheet of bars, one row a bar; any may be left out, and they may
// stand in any order. A sheet out has all of them.
var SheetColumns = []string{"code", "clay", "batch", "forming", "mark_length_mm", "practice", "unit", "wet",
	"soft", "leather", "dry", "bisque", "fired",
	"instrument", "load_bisque", "load_fired", "heat_work_c", "cone", "by", "note",
	"id", "marks", "made_on", "flags", "wet_on", "soft_on", "leather_on", "dry_on", "bisque_on", "fired_on"}

// Columns that a sheet in may have beside them: the day of all lengths of a row, the firing or cone of its
// bisque and its last firing, and, for sheets with one row a reading, stage and length.
var sheetColumnsIn = []string{"date", "time", "firing_bisque", "firing_fired", "cone_bisque",
	"stage", "length", "mark"}

// sheetWords are what people call the columns, in small letters and with _ for blanks, beside the names
// above. German words stand here because notebooks have them.
var sheetWords = map[string]string{
	"no": "code", "nr": "code", "nummer": "code", "number": "code", "#": "code", "bar": "code",
	"bar_code": "code", "test_bar": "code", "tile": "code", "stab": "code", "riegel": "code",
	"kürzel": "code", "probekörper": "code",
	"body": "clay", "clay_body": "clay", "ton": "clay", "masse": "clay",
	"bag": "batch", "lot": "batch", "sack": "batch", "charge": "batch", "hubel": "batch",
	"made_as": "forming", "formgebung": "forming",
	"mark_length": "mark_length_mm", "lines_apart": "mark_length_mm", "marken_mm": "mark_length_mm",
	"marken": "mark_length_mm",
	"units":  "unit", "einheit": "unit", "learner": "practice", "übung": "practice",
	"plastic": "wet", "nass": "wet", "naß": "wet", "feucht": "wet", "wet_length": "wet",
	"leather_hard": "leather", "lederhart": "leather", "bone_dry": "dry",
	"dry_length": "dry", "trocken": "dry",
	"biscuit": "bisque", "bisqued": "bisque", "bisque_length": "bisque", "schrüh": "bisque",
	"geschrüht": "bisque", "schrühbrand": "bisque",
	"glaze": "fired", "glost": "fired", "fired_length": "fired", "gebrannt": "fired",
	"glattbrand": "fired", "glasurbrand": "fired",
	"tool": "instrument", "measured_with": "instrument", "messgerät": "instrument",
	"messmittel": "instrument",
	"load":       "load_fired", "load_glaze": "load_fired", "beschickung": "load_fired",
	"firing": "firing_fired", "firing_glaze": "firing_fired", "brand": "firing_fired",
	"glaze_firing": "firing_fired", "bisque_firing": "firing_bisque",
	"heat_work": "heat_work_c", "fired_to_cone": "cone", "cone_fired": "cone", "cone_glaze": "cone",
	"kegel": "cone", "bisque_cone": "cone_bisque", "kegel_schrüh": "cone_bisque",
	"maker": "by", "who": "by", "measured_by": "by", "von": "by", "wer": "by",
	"notes": "note", "remark": "note", "remarks": "note", "comment": "note", "comments": "note",
	"bemerkung": "note", "bemerkungen": "note", "notiz": "note", "notizen": "note", "anmerkung": "note",
	"made": "made_on", "date_made": "made_on", "hergestellt": "made_on",
	"day": "date", "measured_on": "date", "at": "date", "datum": "date", "tag": "date", "zeit": "time",
	"uhrzeit": "time", "clock": "time",
	"state": "stage", "zustand": "stage", "length_mm": "length", "länge": "length",
	"measured": "length", "messwert": "length",
}

// headingUnit is a unit behind a heading: wet (mm), fired in, dry [cm].
var headingUnit = pattern(`^(.+?)[_ ]*[\[( _](?:in |in_)?(mm|cm|in|inch|inches|zoll|32nds)[\])]?$`)

// SheetColumn is what a heading of a sheet was taken for.
type SheetColumn struct {
	Name string     // as it stands
	As   string     // one of the names above; empty: not known
	Unit LengthUnit // of its lengths, where the heading says so
	Like string     // the known name that is nearest to one that is not known; empty: none is near
}

// columnOf tells what a heading stands for.
func columnOf(name string) SheetColumn {
	c := SheetColumn{Name: name}
	word := strings.ToLower(strings.Join(strings.Fields(name), " "))
	if c.As = columnNamed(word); c.As != "" {
		return c
	}
	if m := headingUnit().FindStringSubmatch(word); m != nil {
		as := columnNamed(m[1])
		if as == "length" || as == "mark_length_mm" || slices.Contains(Stages(), Stage(as)) {
			c.As = as
			switch m[2] {
			case "inch", "inches", "zoll":
				c.Unit = Inch
			default:
				c.Unit = LengthUnit(m[2])
			}
			return c
		}
	}
	c.Like = nearColumn(word)
	return c
}

// columnNamed is the column that a heading without its unit names; "" where none is known.
func columnNamed(word string) string {
	word = strings.Trim(strings.NewReplacer(" ", "_", "-", "_", ".", "").Replace(word), "_")
	known := func(w string) string {
		if as, ok := sheetWords[w]; ok {
			return as
		}
		if slices.Contains(SheetColumns, w) || slices.Contains(sheetColumnsIn, w) {
			return w
		}
		return ""
	}
	if as := known(word); as != "" {
		return as
	}
	// wet date, date wet, datum nass, nass am
	for _, of := range []string{"date", "day", "datum", "on", "am"} {
		rest, behind := strings.CutSuffix(word, "_"+of)
		if !behind {
			rest, behind = strings.CutPrefix(word, of+"_")
		}
		if as := known(rest); behind && slices.Contains(Stages(), Stage(as)) {
			return as + "_on"
		}
	}
	return ""
}

// nearColumn is the known name that differs by one letter left out, put in, changed, or two swapped.
func nearColumn(word string) string {
	word = strings.NewReplacer(" ", "_", "-", "_").Replace(word)
	if len(word) < 3 {
		return ""
	}
	for _, name := range slices.Concat(SheetColumns, sheetColumnsIn) {
		if oneApart(word, name) || len(word) > 4 && strings.HasPrefix(word, name) && len(name) > 3 {
			return name
		}
	}
	return ""
}

// oneApart reports whether two words differ by one letter left out, put in or changed, or by two swapped.
func oneApart(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	switch len(b) - len(a) {
	case 0:
		return i < len(a) && (a[i+1:] == b[i+1:] || i+1 < len(a) && a[i] == b[i+1] &&
			a[i+1] == b[i] && a[i+2:] == b[i+2:])
	case 1:
		return a[i:] == b[i+1:]
	}
	return false
}

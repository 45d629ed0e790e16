package source

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"

	"lidwright/kiln"
)

// Reading is one way to read the lines of a device of which nothing is known.
type Reading struct {
	Kiln      Kiln    // reply, separator, decimal comma, terminator and checksum; no channels yet
	Places    []Place // where numbers stand, in the order of the line
	Good, Bad int     // lines that can be read so, and others
	Last      string  // the last good line
	whole     bool    // every place of the line is a number
}

// Place is where one number stands on every line.
type Place struct {
	From       string  // column from 1, key or JSON path, as a channel's "from" has it
	Unit       string  // c, f, k or mv where the line tells it, "" elsewhere
	Last       float64 // the last number, as it stands there
	Believable bool    // every number could be the temperature of a kiln or its room, in °C or °F
	// Counts says that the number went up by the same step of one or more on every line, as a counter or a
	// clock does and a kiln in the time of a few lines does not.
	Counts bool

	step float64
	seen int
}

// after is p behind the same place of the line before.
func (p Place) after(before Place) Place {
	p.seen, p.step = before.seen+1, p.Last-before.Last
	p.Counts = p.step >= 1 && (before.seen == 1 || before.Counts && math.Abs(p.step-before.step) < 1e-6)
	p.Believable = p.Believable && before.Believable
	return p
}

// recognise tells how lines of a device may be read, the likeliest first; nil if in no way that is
// known. A way must read four lines of five, and every number on them is what the daemon would read:
// the lines go through the same code.
//
// A line is taken for, in this order: JSON; keys with values; a number alone; columns. Of the checks
// of a line, one that fits is taken before none; of the separators the first that gives the same
// number of columns each time. Columns are told by number even where a header was heard, so that a
// daemon which starts in the middle need not wait for the next one.
func recognise(lines []string) []Reading {
	for _, sum := range []string{"crc16", "xor", "sum8", "none"} {
		if sum != "none" && distinct(lines) < 2 && !strings.Contains(strings.Join(lines, ""), "*") {
			continue // one line twice fits a short check by chance too often
		}
		var found []Reading
		for _, k := range ways(sum) {
			r, ok := tryReading(k, lines)
			// A second way is worth telling only if it leaves nothing of the line unread.
			if ok && (len(found) == 0 || r.whole && !slices.ContainsFunc(found, r.same)) {
				found = append(found, r)
			}
		}
		if len(found) > 0 {
			return found
		}
	}
	return nil
}

// distinct is how many of the lines differ.
func distinct(lines []string) int {
	seen := map[string]bool{}
	for _, l := range lines {
		seen[l] = true
	}
	return len(seen)
}

// ways are the forms that are tried.
func ways(sum string) []Kiln {
	k := Kiln{Terminator: "\n", Checksum: sum, Separator: ","}
	form := func(reply, separator string, comma bool) Kiln {
		k.Reply, k.Separator, k.DecimalComma = reply, separator, comma
		return k
	}
	out := []Kiln{form("json", ",", false)}
	for _, separator := range []string{",", ";", "\t", " "} {
		out = append(out, form("keyvalue", separator, false))
		if separator != "," {
			out = append(out, form("keyvalue", separator, true))
		}
	}
	for _, separator := range []string{";", "\t", " "} {
		out = append(out, form("columns", separator, true))
	}
	for _, separator := range []string{",", ";", "\t", " "} {
		out = append(out, form("columns", separator, false))
	}
	return out
}

// same reports whether another reading finds the same numbers in the same places: then the one that
// was tried first is enough.
func (r Reading) same(other Reading) bool {
	return r.Kiln.Reply == other.Kiln.Reply && r.Good >= other.Good && slices.EqualFunc(r.Places,
		other.Places,
		func(a, b Place) bool {
			return a.From == b.From && a.Last == b.Last
		})
}

// tryReading reads all lines as k says and finds the places that are a number each time.
func tryReading(k Kiln, lines []string) (Reading, bool) {
	r := Reading{Kiln: k}
	var froms []string // places of the first good line, in its order
	kept := map[string]Place{}
	count := map[string]int{} // columns of a line, to find the usual number
	// how many places a line usually has
	for _, line := range lines {
		count[strconv.Itoa(len(placesOf(k, line)))]++
	}
	for _, line := range lines {
		names := placesOf(k, line)
		if len(names) == 0 || 2*count[strconv.Itoa(len(names))] <= len(lines) {
			r.Bad++
			continue
		}
		for _, name := range names {
			k.Channels = append(k.Channels, Channel{From: name})
		}
		f, err := newForm(k)
		if err != nil {
			return Reading{}, false
		}
		s, err := f.read(line)
		k.Channels = nil
		if err != nil {
			r.Bad++
			continue
		}
		here := map[string]Place{}
		number := false
		for _, name := range names {
			text, _ := s.text(name)
			if p, ok := placeOf(name, text, k.DecimalComma); ok {
				here[name], number = p, number || p.Believable
			}
		}
		// places that every good line has as a number stay; others go
		if !number && r.Good == 0 { // a header
			r.Bad++
			continue
		}
		if r.Good == 0 {
			froms, kept = names, here
			for name, p := range kept {
				p.seen = 1
				kept[name] = p
			}
		}
		for name, p := range kept {
			now, ok := here[name]
			if !ok {
				delete(kept, name)
				continue
			}
			if r.Good > 0 {
				kept[name] = now.after(p)
			}
		}
		r.Good++
		r.Last = line
	}
	believable := false
	for _, name := range froms {
		if p, ok := kept[name]; ok {
			p.Counts = p.Counts && p.seen > 2
			r.Places = append(r.Places, p)
			believable = believable || p.Believable
		}
	}
	r.whole = len(r.Places) == len(froms)
	comma := !k.DecimalComma || slices.ContainsFunc(lines, hasDecimalComma)
	return r, believable && comma && r.Good >= 4*r.Bad
}

// hasDecimalComma reports whether a comma stands between two digits.
func hasDecimalComma(line string) bool {
	for i := 1; i+1 < len(line); i++ {
		if line[i] == ',' && digit(line[i-1]) && digit(line[i+1]) {
			return true
		}
	}
	return false
}

// digit reports whether b is one.
func digit(b byte) bool { return b >= '0' && b <= '9' }

// placesOf names the places of one line, nil if it has not the form of k.
func placesOf(k Kiln, line string) []string {
	body, err := stripChecksum(line, k.Checksum)
	if err != nil {
		return nil
	}
	if k.Reply == "json" {
		return jsonPlaces(body)
	}
	f, err := newForm(k)
	if err != nil {
		return nil
	}
	parts, err := f.parts(body)
	if err != nil {
		return nil
	}
	if k.Reply == "keyvalue" {
		return keyPlaces(parts)
	}
	if _, alone := placeOf("1", body, k.DecimalComma); alone && len(parts) > 1 && k.Separator == " " {
		return nil // "19.4 C" is one number with its unit
	}
	var out []string
	for i := range parts {
		out = append(out, strconv.Itoa(i+1))
	}
	return out
}

// keyPlaces are the keys of one line, nil where a part is no pair.
func keyPlaces(parts []string) []string {
	var out []string
	for _, part := range parts {
		if part == "" {
			continue
		}
		at := strings.IndexAny(part, "=:")
		if at <= 0 || digit(part[0]) { // "13:05:59" is a time
			return nil
		}
		out = append(out, strings.TrimSpace(part[:at]))
	}
	return out
}

// jsonPlaces lists the paths of the numbers and texts of a JSON line, sorted within an object.
func jsonPlaces(line string) []string {
	if !strings.HasPrefix(line, "{") && !strings.HasPrefix(line, "[") {
		return nil
	}
	var v any
	if json.Unmarshal([]byte(line), &v) != nil {
		return nil
	}
	var out []string
	var look func(path string, v any)
	look = func(path string, v any) {
		under := func(key string) string {
			if path == "" {
				return key
			}
			return path + "." + key
		}
		switch v := v.(type) {
		case map[string]any:
			for key, inner := range v {
				look(under(key), inner)
			}
		case []any:
			for i, inner := range v {
				look(under(strconv.Itoa(i)), inner)
			}
		case float64, string, nil:
			out = append(out, path)
		}
	}
	look("", v)
	slices.Sort(out)
	if len(out) > maxColumns {
		return nil
	}
	return out
}

// placeOf reads what stands at one place. A word for an open couple counts as a number there.
func placeOf(from, text string, comma bool) (Place, bool) {
	if strings.TrimSpace(text) == "" {
		return Place{}, false
	}
	v, err := parseNumber(text, "", comma)
	if errors.Is(err, errBreak) {
		return Place{From: from, Last: v, Believable: true}, true
	}
	if err != nil {
		return Place{}, false
	}
	_, unit := cutUnit(strings.Trim(text, " \t\"'"))
	least, most := float64(leastBelief), float64(mostBelief)
	switch unit {
	case "k":
		least, most = least+273.15, most+273.15
	case "mv":
		least, most = -10, 80
	default:
		most = most*1.8 + 32 // it may be in °F
	}
	return Place{From: from, Unit: unit, Last: v, Believable: v >= least && v <= most}, true
}

// Turned is the number of a place in °C, if it were in that unit.
func (p Place) Turned(unit string) kiln.Celsius { return inCelsius(Channel{Unit: unit}, p.Last) }

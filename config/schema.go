package config

import (
	"encoding"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"
)

// fieldOf finds the field of a table by its key. For a table with names of the owner's own, named
// is true and the field is a list of what stands under each name.
func fieldOf(table reflect.Type, key string) (f reflect.StructField, named, ok bool) {
	for i := range table.NumField() {
		f := table.Field(i)
		if f.Tag.Get("named") == key {
			return f, true, true
		}
		if f.Tag.Get("key") == key && key != "-" {
			return f, false, true
		}
	}
	return reflect.StructField{}, false, false
}

// leaf is a setting that is no table.
type leaf struct {
	key   string
	field reflect.StructField
	value any // that of the struct it was found in
}

// leaves lists every setting of a struct and of those inside it, without what the owner names.
func leaves(prefix string, v reflect.Value) []leaf {
	var out []leaf
	for i := range v.NumField() {
		f := v.Type().Field(i)
		key := f.Tag.Get("key")
		switch {
		case key == "-":
		case isTable(f.Type):
			out = append(out, leaves(prefix+key+".", v.Field(i))...)
		default:
			out = append(out, leaf{prefix + key, f, v.Field(i).Interface()})
		}
	}
	return out
}

// isTable tells a struct of settings from one that is a single text, such as Span.
func isTable(t reflect.Type) bool {
	return t.Kind() == reflect.Struct && !reflect.PointerTo(t).Implements(reflect.TypeFor[encoding.TextUnmarshaler]())
}

// known lists every key that a file can have, with <name> where the owner names things.
func known(prefix string, table reflect.Type) []string {
	var out []string
	for i := range table.NumField() {
		f := table.Field(i)
		if name := f.Tag.Get("named"); name != "" {
			out = append(out, prefix+name)
			out = append(out, known(prefix+name+".<name>.", f.Type.Elem())...)
			continue
		}
		key := f.Tag.Get("key")
		if key == "-" {
			continue
		}
		out = append(out, prefix+key)
		switch {
		case isTable(f.Type):
			out = append(out, known(prefix+key+".", f.Type)...)
		case f.Type.Kind() == reflect.Slice && isTable(f.Type.Elem()):
			out = append(out, known(prefix+key+".<n>.", f.Type.Elem())...)
		}
	}
	return out
}

// nearest is the known key most like an unknown one: the last word alike, in the same table first.
func nearest(key string, table string, keys []string) string {
	best, least := "", math.MaxInt
	word := key[strings.LastIndexByte(key, '.')+1:]
	for _, k := range keys {
		at := strings.LastIndexByte(k, '.') + 1
		d := 3 * distance(word, k[at:])
		if k[:at] != table {
			d += 2
		}
		if d < least {
			best, least = k, d
		}
	}
	return best
}

// distance is how many letters must be put in, taken out or changed to make b of a (Levenshtein).
func distance(a, b string) int {
	a, b = a[:min(len(a), 60)], b[:min(len(b), 60)]
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		before := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := before
			if a[i] != b[j] {
				change++
			}
			before = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// convert makes of a value as TOML has it the value of a field, or says what would be right.
func convert(value any, f reflect.StructField) (out any, says string) {
	t := f.Type
	switch t {
	case reflect.TypeFor[time.Duration]():
		text, ok := value.(string)
		d, err := time.ParseDuration(text)
		if !ok || err != nil {
			return nil, fmt.Sprintf(`is %s; must be a time with its unit, in quotes, as "120s", "5m" or "24h"`, show(value))
		}
		return d, outside(float64(d), f, func(s string) float64 { d, _ := time.ParseDuration(s); return float64(d) })
	}
	if text, ok := reflect.New(t).Interface().(encoding.TextUnmarshaler); ok {
		if day, ok := value.(toml.LocalDate); ok {
			value = day.String()
		}
		if at, ok := value.(toml.LocalTime); ok {
			value = fmt.Sprintf("%02d:%02d", at.Hour, at.Minute)
		}
		s, ok := value.(string)
		if !ok {
			return nil, fmt.Sprintf("is %s; must be a text in quotes", show(value))
		}
		if err := text.UnmarshalText([]byte(s)); err != nil {
			return nil, fmt.Sprintf("is %s; %s", show(value), err)
		}
		return reflect.ValueOf(text).Elem().Interface(), ""
	}
	atof := func(s string) float64 { x, _ := strconv.ParseFloat(s, 64); return x }
	switch t.Kind() {
	case reflect.Bool:
		if b, ok := value.(bool); ok {
			return b, ""
		}
		return nil, fmt.Sprintf("is %s; must be true or false, without quotes", show(value))
	case reflect.Int:
		if n, ok := value.(int64); ok && int64(int(n)) == n {
			return int(n), outside(float64(n), f, atof)
		}
		return nil, fmt.Sprintf("is %s; must be a whole number without quotes", show(value))
	case reflect.Float64:
		x, ok := number(value)
		if !ok {
			return nil, fmt.Sprintf("is %s; must be a finite number without quotes", show(value)) + because(f)
		}
		return x, outside(x, f, atof)
	case reflect.String:
		s, ok := value.(string)
		if n, whole := value.(int64); whole && f.Tag.Get("key") == "from" {
			s, ok = strconv.FormatInt(n, 10), true // a column by its number
		}
		if !ok {
			return nil, fmt.Sprintf("is %s; must be a text in quotes", show(value))
		}
		return reflect.ValueOf(s).Convert(t).Interface(), badWord(s, f)
	case reflect.Slice:
		return convertList(value, f)
	}
	return nil, "cannot be set"
}

func convertList(value any, f reflect.StructField) (any, string) {
	items, ok := value.([]any)
	if !ok {
		return nil, fmt.Sprintf("is %s; must be a list in square brackets", show(value))
	}
	if f.Type.Elem().Kind() == reflect.Float64 {
		out := make([]float64, len(items))
		for i, item := range items {
			if out[i], ok = number(item); !ok {
				return nil, fmt.Sprintf("holds %s; must be a list of finite numbers", show(item))
			}
		}
		return out, ""
	}
	out := make([]string, len(items))
	for i, item := range items {
		if out[i], ok = item.(string); !ok {
			return nil, fmt.Sprintf("holds %s; must be a list of texts in quotes", show(item))
		}
		if says := badWord(out[i], f); says != "" {
			return nil, says
		}
	}
	return out, ""
}

func number(value any) (float64, bool) {
	switch x := value.(type) {
	case int64:
		return float64(x), true
	case float64:
		return x, !math.IsNaN(x) && !math.IsInf(x, 0)
	}
	return 0, false
}

func badWord(s string, f reflect.StructField) string {
	words, ok := f.Tag.Lookup("words")
	if words == "@events" {
		words = events
	}
	if !ok || slices.Contains(strings.Fields(words), s) {
		return ""
	}
	return fmt.Sprintf("is %s; must be one of %s", show(s), strings.Join(strings.Fields(words), ", "))
}

// outside says that x lies outside the tags min and max of its field, which scale turns to numbers.
func outside(x float64, f reflect.StructField, scale func(string) float64) string {
	low, high := f.Tag.Get("min"), f.Tag.Get("max")
	if low == "" || x >= scale(low) && x <= scale(high) {
		return ""
	}
	was := strconv.FormatFloat(x, 'g', -1, 64)
	if f.Type == reflect.TypeFor[time.Duration]() {
		was = time.Duration(x).String()
	}
	return fmt.Sprintf("is %s; must lie in %s to %s", was, low, high) + because(f)
}

// because is what the tag why of a field adds to what may be set there.
func because(f reflect.StructField) string {
	if why := f.Tag.Get("why"); why != "" {
		return ": " + why
	}
	return ""
}

// show is a value as a message quotes it, never long.
func show(value any) string {
	var s string
	switch v := value.(type) {
	case string:
		s = strconv.Quote(v)
	case map[string]any:
		return "a table"
	case []any:
		return "a list"
	default:
		s = fmt.Sprint(v)
	}
	if r := []rune(s); len(r) > 48 {
		s = string(r[:45]) + "..."
	}
	return s
}

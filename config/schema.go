package config

import (
	"math"
	"reflect"
	"strings"
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

// leaves lists the keys of every setting of a struct and of those inside it, without what the owner names.
func leaves(prefix string, t reflect.Type) []string {
	var out []string
	for i := range t.NumField() {
		f := t.Field(i)
		switch key := f.Tag.Get("key"); {
		case key == "-":
		case isTable(f.Type):
			out = append(out, leaves(prefix+key+".", f.Type)...)
		default:
			out = append(out, prefix+key)
		}
	}
	return out
}

// isTable tells a struct of settings from one that is a single text, such as Span.
func isTable(t reflect.Type) bool {
	return t.Kind() == reflect.Struct && !isText(t)
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
		if isTable(f.Type) {
			out = append(out, known(prefix+key+".", f.Type)...)
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

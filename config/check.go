package config

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
)

// strange tells of what stands in a table of the file and cannot: keys that are no settings, names that are
// none, values where a table belongs, and in quotes what has none.
func (r *reader) strange(prefix string, values map[string]any, t reflect.Type) {
	for _, key := range slices.Sorted(maps.Keys(values)) {
		path, value := prefix+key, values[key]
		f, named, ok := fieldOf(t, key)
		under, isMap := value.(map[string]any)
		switch {
		case !ok:
			r.add(path, "is no setting; the nearest is %s", nearest(path, generic(prefix, r.known), r.known))
			delete(values, key) // viper would take it for one in small letters
		case named && !isMap:
			r.add(path, "is %s; must be a table for each name, as [%s.NAME]", show(value), path)
		case named:
			r.names(path, under)
			for _, name := range r.named(path) {
				if item, isMap := under[name].(map[string]any); isMap {
					r.strange(path+"."+name+".", item, f.Type.Elem())
				} else {
					r.add(path+"."+name, "is %s; must be a table, as [%s.%s]", show(under[name]), path, name)
				}
			}
		case isTable(f.Type) && isMap:
			r.strange(path+".", under, f.Type)
		case f.Type.Kind() == reflect.Map && isMap:
			r.names(path, under)
		case (isTable(f.Type) || f.Type.Kind() == reflect.Map) && !isMap:
			r.add(path, "is %s; must be a table, as [%s]", show(value), path)
		default:
			if _, quoted := value.(string); quoted && !isText(f.Type) {
				r.add(path, "is %s; must be %s%s", show(value), mustBe(f.Type), because(f))
			}
		}
	}
}

// names tells of names of the owner's own that are none.
func (r *reader) names(path string, values map[string]any) {
	for _, name := range slices.Sorted(maps.Keys(values)) {
		if !aName.MatchString(name) {
			r.add(path+"."+name, "cannot be a name; names are 1 to 40 of the signs a-z, 0-9 and -")
		}
	}
}

// within holds each setting that was given against the tags words, min and max of its field.
func (r *reader) within(prefix string, table reflect.Value) {
	for i := range table.NumField() {
		f, value := table.Type().Field(i), table.Field(i)
		key := prefix + f.Tag.Get("key")
		switch named := f.Tag.Get("named"); {
		case named != "":
			for j := range value.Len() { // the first field of each is its name
				item := value.Index(j)
				r.within(fmt.Sprintf("%s%s.%v.", prefix, named, item.Field(0)), item)
			}
		case f.Tag.Get("key") == "-":
		case isTable(f.Type):
			r.within(key+".", value)
		case r.given(key):
			if says := outside(f, value); says != "" {
				r.add(key, "%s", says)
			}
		}
	}
}

// given reports whether the file, a variable or a flag says something for a key.
func (r *reader) given(key string) bool {
	_, inFile := r.doc.lines[key]
	_, elsewhere := r.source[key]
	return inFile || elsewhere
}

// outside says that a value is none of the words of its field, or lies outside its ends.
func outside(f reflect.StructField, value reflect.Value) string {
	switch x := value.Interface().(type) {
	case time.Duration:
		least, _ := time.ParseDuration(f.Tag.Get("min"))
		most, err := time.ParseDuration(f.Tag.Get("max"))
		return beyond(f, x.String(), err == nil && (x < least || x > most))
	case []string:
		for _, item := range x {
			if says := badWord(item, f); says != "" {
				return says
			}
		}
	}
	least, _ := strconv.ParseFloat(f.Tag.Get("min"), 64)
	most, err := strconv.ParseFloat(f.Tag.Get("max"), 64)
	switch {
	case value.CanInt():
		n := float64(value.Int())
		return beyond(f, fmt.Sprint(value.Int()), err == nil && (n < least || n > most))
	case value.CanFloat():
		x := value.Float()
		return beyond(f, strconv.FormatFloat(x, 'g', -1, 64), err == nil && (x < least || x > most))
	case value.Kind() == reflect.String:
		return badWord(value.String(), f)
	}
	return ""
}

// beyond says, where it is so, that a number is beyond the ends of its field.
func beyond(f reflect.StructField, was string, so bool) string {
	if !so {
		return ""
	}
	return fmt.Sprintf("is %s; must lie in %s to %s%s", was, f.Tag.Get("min"), f.Tag.Get("max"), because(f))
}

// because is what the tag why of a field adds to what may be set there.
func because(f reflect.StructField) string {
	if why := f.Tag.Get("why"); why != "" {
		return ": " + why
	}
	return ""
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

// generic is prefix with <name> where the known keys have it.
func generic(prefix string, known []string) string {
	parts := strings.Split(prefix, ".")
	for i, part := range parts {
		try := strings.Join(append(slices.Clone(parts[:i]), "<name>"), ".") + "."
		same := strings.Join(append(slices.Clone(parts[:i]), part), ".")
		if part != "" && !slices.Contains(known, same) &&
			slices.ContainsFunc(known, func(k string) bool { return strings.HasPrefix(k, try) }) {
			parts[i] = "<name>"
		}
	}
	return strings.Join(parts, ".")
}

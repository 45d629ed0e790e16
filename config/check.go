package config

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
)

// table checks the values of one table against its struct and gives each the type of its field.
// What is wrong is told and taken out, so that the rest can still be looked at.
func (r *reader) table(prefix string, values map[string]any, t reflect.Type) {
	for _, key := range slices.Sorted(maps.Keys(values)) {
		path, value := prefix+key, values[key]
		f, named, ok := fieldOf(t, key)
		if !ok {
			r.add(path, "is no setting; the nearest is %s", nearest(path, generic(prefix, r.known), r.known))
			delete(values, key)
			continue
		}
		under, isMap := value.(map[string]any)
		switch {
		case named && isMap:
			r.nameds(path, under, f.Type.Elem())
		case named:
			r.add(path, "is %s; must be a table for each name, as [%s.NAME]", show(value), path)
			delete(values, key)
		case isTable(f.Type) && isMap:
			r.table(path+".", under, f.Type)
		case isTable(f.Type):
			r.add(path, "is %s; must be a table, as [%s]", show(value), path)
			delete(values, key)
		case f.Type.Kind() == reflect.Map:
			r.shelves(path, values, key)
		case f.Type.Kind() == reflect.Slice && isTable(f.Type.Elem()):
			r.list(path, values, key, f.Type.Elem())
		default:
			out, says := convert(value, f)
			values[key] = out
			if says != "" {
				r.add(path, "%s", says)
				delete(values, key)
			}
		}
	}
}

func (r *reader) nameds(path string, values map[string]any, t reflect.Type) {
	for _, name := range slices.Sorted(maps.Keys(values)) {
		key := path + "." + name
		if !aName.MatchString(name) {
			r.add(key, "cannot be a name; names are 1 to 40 of the signs a-z, 0-9 and -")
			delete(values, name)
			continue
		}
		under, ok := values[name].(map[string]any)
		if !ok {
			r.add(key, "is %s; must be a table, as [%s]", show(values[name]), key)
			delete(values, name)
			continue
		}
		r.table(key+".", under, t)
	}
}

func (r *reader) shelves(path string, values map[string]any, key string) {
	under, ok := values[key].(map[string]any)
	if !ok {
		r.add(path, "is %s; must be a table of shelf = \"probe\"", show(values[key]))
		delete(values, key)
		return
	}
	for _, shelf := range slices.Sorted(maps.Keys(under)) {
		_, text := under[shelf].(string)
		switch {
		case !aName.MatchString(shelf):
			r.add(path+"."+shelf, "cannot be a name; names are 1 to 40 of the signs a-z, 0-9 and -")
			delete(under, shelf)
		case !text:
			r.add(path+"."+shelf, "is %s; must be the name of a probe in quotes", show(under[shelf]))
			delete(under, shelf)
		}
	}
}

func (r *reader) list(path string, values map[string]any, key string, t reflect.Type) {
	items, ok := values[key].([]any)
	for i := 0; ok && i < len(items); i++ {
		var under map[string]any
		if under, ok = items[i].(map[string]any); ok {
			r.table(fmt.Sprintf("%s.%d.", path, i+1), under, t)
		}
	}
	if !ok {
		r.add(path, "must be tables, each as [[%s]]", path)
		delete(values, key)
	}
}

// generic is prefix with <name> and <n> where the known keys have them.
func generic(prefix string, known []string) string {
	parts := strings.Split(prefix, ".")
	for i, part := range parts {
		for _, stand := range []string{"<name>", "<n>"} {
			try := strings.Join(append(slices.Clone(parts[:i]), stand), ".") + "."
			same := strings.Join(append(slices.Clone(parts[:i]), part), ".")
			if part != "" && !slices.Contains(known, same) &&
				slices.ContainsFunc(known, func(k string) bool { return strings.HasPrefix(k, try) }) {
				parts[i] = stand
			}
		}
	}
	return strings.Join(parts, ".")
}

package config

import (
	"reflect"
	"strconv"
	"strings"

	"github.com/spf13/pflag"
)

const envPrefix = "LIDWRIGHT_"

// outside takes the settings of flags and of the variables of env that begin with prefix.
func (r *reader) outside(prefix string, env []string, flags *pflag.FlagSet) {
	byName := map[string]leaf{}
	var names []string
	for _, l := range r.leaves {
		if l.field.Type.Kind() == reflect.Slice && isTable(l.field.Type.Elem()) {
			continue
		}
		name := strings.ToUpper(strings.ReplaceAll(l.key, ".", "_"))
		byName[name] = l
		names = append(names, name)
	}
	for _, variable := range env {
		name, text, _ := strings.Cut(variable, "=")
		bare, ours := strings.CutPrefix(name, prefix)
		// An access code of the command line is no setting, and those of the collector's program are not ours.
		if !ours || name == "LIDWRIGHT_CODE" || prefix != CollectPrefix && strings.HasPrefix(name, CollectPrefix) {
			continue
		}
		at := Mistake{File: "environment", Key: name}
		l, ok := byName[bare]
		switch {
		case ok:
			r.set(l, text, at)
		case strings.HasPrefix(bare, "KILN_"), strings.HasPrefix(bare, "NOTICE_WEBHOOK_"):
			at.Says = "cannot be set by environment; a named kiln or webhook stands in the file"
			r.mistakes = append(r.mistakes, at)
		default:
			at.Says = "is no setting; the nearest is " + prefix + nearest(bare, "", names)
			r.mistakes = append(r.mistakes, at)
		}
	}
	if flags != nil {
		flags.Visit(func(f *pflag.Flag) {
			l, ok := byName[strings.ToUpper(strings.NewReplacer("-", "_", ".", "_").Replace(f.Name))]
			if !ok {
				return
			}
			text := f.Value.String()
			if list, ok := f.Value.(pflag.SliceValue); ok {
				text = strings.Join(list.GetSlice(), ",")
			}
			r.set(l, text, Mistake{File: "flags", Key: "--" + f.Name})
		})
	}
}

// set takes a text from outside the file for a setting.
func (r *reader) set(l leaf, text string, at Mistake) {
	r.source[l.key] = at
	out, says := convert(fromText(text, l.field.Type), l.field)
	if says != "" {
		r.add(l.key, "%s", says)
		return
	}
	r.v.Set(l.key, out)
}

// fromText reads a bare text as TOML would have it for a field of that type: lists by commas.
func fromText(text string, t reflect.Type) any {
	switch t.Kind() {
	case reflect.Bool:
		if b, err := strconv.ParseBool(text); err == nil {
			return b
		}
	case reflect.Int, reflect.Float64:
		if n, err := strconv.ParseInt(text, 10, 64); err == nil {
			return n
		}
		if x, err := strconv.ParseFloat(text, 64); err == nil {
			return x
		}
	case reflect.Slice:
		items := []any{}
		for part := range strings.SplitSeq(text, ",") {
			if part = strings.TrimSpace(part); part != "" {
				items = append(items, fromText(part, t.Elem()))
			}
		}
		return items
	}
	return text
}

package config

import (
	"errors"
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/go-viper/mapstructure/v2"
	"github.com/spf13/pflag"
	"github.com/spf13/viper"

	"lidwright/kiln"
)

const envPrefix = "LIDWRIGHT_"

// Load reads the settings of the file at path; path "" means no file. Above the file stand the
// variables LIDWRIGHT_ of env (as os.Environ gives them), above those the flags that were given on
// the command line: a flag sets the key that has its name, --log-level sets log.level, and other
// flags mean nothing here. flags may be nil. Keys of a named kiln, a webhook or another site come
// from the file alone.
//
// The error is a Mistakes if the settings do not hold, and then lists all that is wrong; else the
// file could not be read.
func Load(path string, env []string, flags *pflag.FlagSet) (Config, error) {
	doc := document{file: path, values: map[string]any{}, lines: map[string]int{}}
	if path != "" {
		var err error
		if doc, err = readDocument(path); err != nil {
			return Config{}, err
		}
	}
	return load(doc, env, flags)
}

// reader is one run of Load.
type reader struct {
	doc      document
	v        *viper.Viper
	known    []string
	source   map[string]Mistake // keys set outside the file: where, without what it says
	wrong    map[string]bool    // keys already complained about
	mistakes Mistakes
	advice   []Mistake
}

func load(doc document, env []string, flags *pflag.FlagSet) (Config, error) {
	r := &reader{
		doc:    doc,
		v:      viper.New(),
		known:  known("", reflect.TypeFor[Config]()),
		source: map[string]Mistake{},
		wrong:  map[string]bool{},
	}
	cfg := Default()
	for _, l := range leaves("", reflect.ValueOf(cfg)) {
		r.v.SetDefault(l.key, l.value)
	}
	r.table("", doc.values, reflect.TypeFor[Config]())
	if err := r.v.MergeConfigMap(doc.values); err != nil {
		return Config{}, fmt.Errorf("settings %s: %w", doc.file, err)
	}
	r.outside(env, flags)

	if err := r.v.Unmarshal(&cfg, strictly); err != nil {
		return Config{}, fmt.Errorf("settings %s: %w", doc.file, err)
	}
	if err := r.kilns(&cfg); err != nil {
		return Config{}, fmt.Errorf("settings %s: %w", doc.file, err)
	}
	cfg.File = doc.file
	r.place(&cfg, env)
	r.validate(&cfg)
	if len(r.mistakes) > 0 {
		r.mistakes.sort()
		return Config{}, r.mistakes
	}
	cfg.Advice = r.advice
	return cfg, nil
}

// strictly keeps viper from guessing: values already have the type of their field.
func strictly(c *mapstructure.DecoderConfig) {
	c.TagName = "key"
	c.WeaklyTypedInput = false
	c.DecodeHook = nil
}

// kilns fills the tables that carry names, each over its defaults and in the order of the file.
func (r *reader) kilns(cfg *Config) error {
	var errs []error
	fill := func(key string, into any) { errs = append(errs, r.v.UnmarshalKey(key, into, strictly)) }
	for _, name := range r.names("kiln") {
		k := DefaultKiln()
		k.ID = kiln.KilnID(name)
		key := "kiln." + name
		fill(key, &k)
		for _, id := range r.names(key + ".channel") {
			c := DefaultChannel()
			c.ID = kiln.ChannelID(id)
			fill(key+".channel."+id, &c)
			k.Channels = append(k.Channels, c)
		}
		for _, id := range r.names(key + ".probe") {
			p := DefaultProbe()
			p.Channel = kiln.ChannelID(id)
			fill(key+".probe."+id, &p)
			k.Probes = append(k.Probes, p)
		}
		cfg.Kilns = append(cfg.Kilns, k)
	}
	for _, name := range r.names("notice.webhook") {
		w := Webhook{Name: name, On: []string{}}
		fill("notice.webhook."+name, &w)
		cfg.Notice.Webhooks = append(cfg.Notice.Webhooks, w)
	}
	return errors.Join(errs...)
}

// names lists the good names under key in the order of the file.
func (r *reader) names(key string) []string {
	var out []string
	for _, k := range r.doc.order {
		name, ok := strings.CutPrefix(k, key+".")
		if ok && aName.MatchString(name) && !r.wrong[k] && !r.wrong[key] {
			out = append(out, name)
		}
	}
	return out
}

var aName = regexp.MustCompile(`^[a-z0-9-]{1,40}$`)

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

// outside takes the settings of environment and flags.
func (r *reader) outside(env []string, flags *pflag.FlagSet) {
	byName := map[string]leaf{}
	var names []string
	for _, l := range leaves("", reflect.ValueOf(Default())) {
		if l.field.Type.Kind() == reflect.Slice && isTable(l.field.Type.Elem()) {
			continue
		}
		name := strings.ToUpper(strings.ReplaceAll(l.key, ".", "_"))
		byName[name] = l
		names = append(names, name)
	}
	for _, variable := range env {
		name, text, _ := strings.Cut(variable, "=")
		bare, ours := strings.CutPrefix(name, envPrefix)
		if !ours || name == "LIDWRIGHT_CODE" { // an access code of the command line is no setting
			continue
		}
		at := Mistake{File: "environment", Key: name}
		l, ok := byName[bare]
		switch {
		case ok:
			r.set(l, text, at)
		case strings.HasPrefix(bare, "KILN_"), strings.HasPrefix(bare, "NOTICE_WEBHOOK_"), strings.HasPrefix(bare, "COLLECTOR_"):
			at.Says = "cannot be set by environment; a named kiln, webhook or site stands in the file"
			r.mistakes = append(r.mistakes, at)
		default:
			at.Says = "is no setting; the nearest is " + envPrefix + nearest(bare, "", names)
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

// add notes a mistake at a key, once a key.
func (r *reader) add(key, format string, args ...any) {
	if !r.wrong[key] {
		r.wrong[key] = true
		r.mistakes = append(r.mistakes, r.at(key, fmt.Sprintf(format, args...)))
	}
}

// advise notes what works but is not wise.
func (r *reader) advise(key, format string, args ...any) {
	r.advice = append(r.advice, r.at(key, fmt.Sprintf(format, args...)))
}

func (r *reader) at(key, says string) Mistake {
	m, ok := r.source[key]
	if !ok {
		m = Mistake{File: r.doc.file, Line: r.doc.line(key), Key: key}
		if m.File == "" {
			m.File, m.Line = "defaults", 0
		}
	}
	m.Says = says
	return m
}

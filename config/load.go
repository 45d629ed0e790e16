package config

import (
	"cmp"
	"fmt"
	"reflect"
	"regexp"
	"strings"

	"github.com/spf13/pflag"
	"github.com/spf13/viper"

	"lidwright/kiln"
)

// Load reads the settings of the file at path; path "" means no file. Above the file stand the
// variables LIDWRIGHT_ of the process that env lists (as os.Environ does), above those the flags that were
// given on the command line: a flag sets the key that has its name, --log-level sets log.level, and other
// flags mean nothing here. flags may be nil. Keys of a named kiln or a webhook come from the file alone.
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
	leaves   []string           // keys that a variable or a flag can set
	known    []string           // keys that a file can have
	source   map[string]Mistake // keys set outside the file: where, without what it says
	wrong    map[string]bool    // keys already complained about
	mistakes Mistakes
	advice   []Mistake
}

func load(doc document, env []string, flags *pflag.FlagSet) (Config, error) {
	cfg := Default()
	r := newReader(doc, cfg)
	r.takeOver()
	if err := r.read(&cfg, envPrefix, env, flags); err != nil {
		return Config{}, err
	}
	r.kilns(&cfg)
	r.within("", reflect.ValueOf(cfg))
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

// newReader reads a document into settings of the type of defaults.
func newReader(doc document, defaults any) *reader {
	t := reflect.TypeOf(defaults)
	return &reader{
		doc:    doc,
		v:      viper.New(),
		leaves: leaves("", t),
		known:  known("", t),
		source: map[string]Mistake{},
		wrong:  map[string]bool{},
	}
}

// read fills in settings over their defaults: from the document, the variables of env that begin with prefix,
// and flags. What the owner names is left to kilns.
func (r *reader) read(into any, prefix string, env []string, flags *pflag.FlagSet) error {
	r.strange("", r.doc.values, reflect.TypeOf(into).Elem())
	err := cmp.Or(r.v.MergeConfigMap(r.doc.values), r.bind(prefix, env, flags))
	if err != nil {
		return fmt.Errorf("settings %s: %w", r.doc.file, err)
	}
	r.decode("", into)
	return nil
}

// kilns fills the tables that carry names, each over its defaults and in the order of the file.
func (r *reader) kilns(cfg *Config) {
	for _, name := range r.named("kiln") {
		k, key := DefaultKiln(), "kiln."+name
		k.ID = kiln.KilnID(name)
		r.decode(key, &k)
		for _, id := range r.named(key + ".channel") {
			c := DefaultChannel()
			c.ID = kiln.ChannelID(id)
			r.decode(key+".channel."+id, &c)
			k.Channels = append(k.Channels, c)
		}
		for _, id := range r.named(key + ".probe") {
			p := DefaultProbe()
			p.Channel = kiln.ChannelID(id)
			r.decode(key+".probe."+id, &p)
			k.Probes = append(k.Probes, p)
		}
		cfg.Kilns = append(cfg.Kilns, k)
	}
	for _, name := range r.named("notice.webhook") {
		w := DefaultWebhook()
		w.Name = name
		r.decode("notice.webhook."+name, &w)
		cfg.Notice.Webhooks = append(cfg.Notice.Webhooks, w)
	}
}

// named lists the good names under key in the order of the file.
func (r *reader) named(key string) []string {
	var out []string
	for _, k := range r.doc.order {
		name, ok := strings.CutPrefix(k, key+".")
		if ok && aName.MatchString(name) && !r.wrong[k] && !r.wrong[key] {
			out = append(out, name)
		}
	}
	return out
}

// IsName reports whether a kiln may be called so.
func IsName(text string) bool { return aName.MatchString(text) }

var aName = regexp.MustCompile(`^[a-z0-9-]{1,40}$`)

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

package config

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
)

// LoadText reads settings that are not in a file yet; path is the file that mistakes name. All else
// is as in Load, without flags.
func LoadText(path, text string, env []string) (Config, error) {
	doc, err := parseDocument(path, []byte(text))
	if err != nil {
		return Config{}, err
	}
	return load(doc, env, nil)
}

// Draft writes the tables of one kiln as a settings file has them: what is needed and what differs
// from the default.
func (k Kiln) Draft() string {
	var b strings.Builder
	always := []string{"port", "reply", "limit_c", "keep_shut_above_c", "from", "register", "unit", "type",
		"speed", "framing"}
	table := func(name string, v, standard any) {
		fmt.Fprintf(&b, "[%s]\n", name)
		table, without := reflect.ValueOf(v), reflect.ValueOf(standard)
		for i := range table.NumField() {
			f := table.Type().Field(i)
			key := f.Tag.Get("key")
			if key == "-" || f.Type.Kind() == reflect.Map || unset(table, f, table.Field(i)) {
				continue
			}
			if k.Port == "" && slices.Contains([]string{"reply", "speed", "framing"}, key) {
				continue
			}
			if slices.Contains(always, key) || !reflect.DeepEqual(table.Field(i).Interface(),
				without.Field(i).Interface()) {
				fmt.Fprintf(&b, "%s = %s\n", key, literal(f, table.Field(i)))
			}
		}
	}
	name := "kiln." + string(k.ID)
	table(name, k, DefaultKiln())
	for _, c := range k.Channels {
		b.WriteString("\n")
		table(fmt.Sprintf("%s.channel.%s", name, c.ID), c, DefaultChannel())
	}
	for _, p := range k.Probes {
		b.WriteString("\n")
		table(fmt.Sprintf("%s.probe.%s", name, p.Channel), p, DefaultProbe())
	}
	if len(k.Shelves) > 0 {
		fmt.Fprintf(&b, "\n[%s.shelf]\n", name)
		for _, shelf := range slices.Sorted(maps.Keys(k.Shelves)) {
			fmt.Fprintf(&b, "%s = %q\n", shelf, k.Shelves[shelf])
		}
	}
	return b.String()
}

// Answer is one line of a file of answers.
type Answer struct {
	Text string // as it would be typed
	Line int
}

// ReadAnswers reads a file of answers: TOML with bare keys and nothing nested. known says whether
// there may be a question of that key, and all lists those that are told as the nearest. The error is
// a Mistakes with the line of each key that is at fault, or says that the file cannot be read.
func ReadAnswers(path string, known func(key string) bool, all []string) (map[string]Answer, error) {
	doc, err := readDocument(path)
	if err != nil {
		return nil, fmt.Errorf("answers: %w", err)
	}
	out := map[string]Answer{}
	var wrong Mistakes
	for _, key := range slices.Sorted(maps.Keys(doc.values)) {
		say := func(format string, args ...any) {
			wrong = append(wrong, Mistake{File: path, Line: doc.line(key), Key: key, Says: fmt.Sprintf(format,
				args...)})
		}
		switch v := doc.values[key].(type) {
		case map[string]any, []any:
			say("must be one text, number or true or false")
		default:
			if !known(key) {
				say("is no question; the nearest is %s", nearest(key, "", all))
				continue
			}
			text := fmt.Sprint(v)
			if v == true {
				text = "yes"
			} else if v == false {
				text = "no"
			}
			out[key] = Answer{Text: text, Line: doc.line(key)}
		}
	}
	if len(wrong) > 0 {
		wrong.sort()
		return nil, wrong
	}
	return out, nil
}

// Quote writes a text as TOML has it.
func Quote(text string) string { return tomlText(text) }

package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"lidwright/api/client"
	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/config"
	"lidwright/tiles"
)

// lists are the commands that list what there is, by the type of problem that says what is not.
var lists = map[string]string{
	"/problems/unknown-bar":        "lidwright bars",
	"/problems/unknown-clay":       "lidwright clay list",
	"/problems/unknown-firing":     "lidwright firings",
	"/problems/unknown-kiln":       "lidwright kiln list",
	"/problems/unknown-load":       "lidwright load list",
	"/problems/unknown-pot":        "lidwright pot find",
	"/problems/unknown-lid-result": "lidwright result list",
}

// explain turns an error of a command into an exit code and one line, in the words of the command: a field of
// the API that is a flag or a word of it is called so, and of what was typed no more is said again than can
// be read.
func explain(err error, asked *cobra.Command) (int, string) {
	code, says := explained(err, asked)
	return code, shortened(says)
}

func shortened(says string) string { return longWords.ReplaceAllString(says, "$1…") }

// longWords are words that nobody reads to their end.
var longWords = regexp.MustCompile(`(\S{40})\S{160,}`)

func explained(err error, asked *cobra.Command) (int, string) {
	var e *exit
	var p *wire.Problem
	var m config.Mistakes
	switch {
	case errors.As(err, &e):
		return e.code, e.says
	case errors.As(err, &m):
		return exitWrongUse, m.Error()
	case errors.Is(err, client.ErrNotReachable):
		return exitNotReachable, err.Error()
	case errors.As(err, &p):
		return refused(p, asked)
	case usecase.IsInvalid(err):
		return exitWrongUse, inFlags(asked, err.Error())
	case slices.ContainsFunc(wrongUses, func(begins string) bool {
		return strings.HasPrefix(err.Error(),
			begins)
	}):
		says := err.Error()
		if strings.HasPrefix(says, "accepts ") || strings.HasPrefix(says, "requires ") {
			n := says[strings.LastIndexByte(says, ' ')+1:]
			says = "to be written as: " + strings.TrimSuffix(asked.UseLine(), " [flags]") +
				"; words given: " + n
		}
		return exitWrongUse, says + "; see " + asked.CommandPath() + " --help"
	}
	return exitFailed, err.Error()
}

// refused tells a problem that the API answered.
func refused(p *wire.Problem, asked *cobra.Command) (int, string) {
	says := p.Title.String()
	for _, f := range p.Fields {
		if what := tooLong(asked, f.Says.String()); what != "" {
			says += "; " + what + ": " + f.Says.String()
			continue
		}
		says += "; " + inFlags(asked, ofList.ReplaceAllString(f.Name, "")+": "+f.Says.String()) +
			whichOf(f.Name)
	}
	switch detail := p.Detail.String(); {
	case len(p.Fields) > 0 || p.Detail.IsZero():
	case strings.HasSuffix(strings.ToLower(strings.Trim(detail, ". ")), strings.ToLower(strings.Trim(says,
		". "))):
		says = strings.Trim(detail, ". ") // it says its title itself, as "bar BQ7: no such bar" does
	default:
		says += ". " + detail
	}
	if list := lists[p.Type]; list != "" {
		says += "; see " + list
	}
	if p.Status == 422 || p.Status == 400 {
		return exitWrongUse, says
	}
	return exitFailed, says
}

// ofList is which one of a list is meant, from 0.
var ofList = regexp.MustCompile(`\[(\d+)\]`)

// whichOf says which one of a list a field is, from the second on.
func whichOf(field string) string {
	m := ofList.FindStringSubmatch(field)
	if m == nil || m[1] == "0" {
		return ""
	}
	n, err := strconv.Atoi(m[1])
	if err != nil {
		return ""
	}
	return fmt.Sprintf(" (number %d)", n+1)
}

// atMost is a refusal of a text that is too long.
var atMost = regexp.MustCompile(`^at most (\d+) characters$`)

// tooLong is the flag or the word of the usage that was given more characters than a refusal says are the
// most; empty where that is not what it says, or where it is not one alone.
func tooLong(c *cobra.Command, says string) string {
	m := atMost.FindStringSubmatch(says)
	if m == nil {
		return ""
	}
	most, err := strconv.Atoi(m[1])
	if err != nil {
		return ""
	}
	var all []string
	c.Flags().Visit(func(f *pflag.Flag) {
		if utf8.RuneCountInString(f.Value.String()) > most && f.Name != "site" {
			all = append(all, "--"+f.Name)
		}
	})
	words := strings.Fields(c.Use)[1:]
	for i, typed := range c.Flags().Args() {
		if utf8.RuneCountInString(typed) > most && len(words) > 0 {
			all = append(all, strings.TrimSuffix(strings.Trim(words[min(i, len(words)-1)], "[]"), "..."))
		}
	}
	if len(all) != 1 {
		return ""
	}
	return all[0]
}

// called are names under which commands have fields of the API, beside its own with hyphens.
var called = map[string][]string{
	"at_c": {"--at"}, "bar": {"CODE", "N|CODE"}, "bars": {"CODE"}, "bars.bar": {"CODE"},
	"bars.shelf": {"--shelf"}, "began_at": {"--began"}, "body": {"--clay", "--is"}, "columns": {"--column"},
	"cone": {"--pin", "--sitter"}, "dropped_at": {"--dropped-at"}, "find": {"WORDS"}, "flags": {"bent|"},
	"galleries": {"FILE"}, "id": {"ID", "LOAD",
		"FIRING"}, "kiln": {"NEW"}, "lid": {"--lid-clay"}, "lid_mm": {"WIDTH"},
	"mark": {"MARK"}, "matures_cone": {"--matures"}, "measured_lids": {"--lids-measured"},
	"name": {"--second", "CLAY"}, "parents": {"--from"}, "play_mm": {"--play"}, "plays_mm": {"--play"},
	"pots": {"--pot"}, "seen": {"STOOD", "--cone"}, "sitter.cone": {"--sitter"},
	"sitter.dropped_at": {"--dropped-at"}, "stated_total_ratio": {"--stated"},
	"tilt_deg":  {"STOOD", "--cone"},
	"thrown_mm": {"--thrown"}, "to": {"--to", "NEW", "INTO"}, "unit": {"--units"}, "url": {"URL"},
}

// flagOf is a field of the API as the command has it: the flag that was given for it, else the word of its
// usage, else the flag of that name, else the field.
func flagOf(c *cobra.Command, field string) string {
	whole := strings.ReplaceAll(field, "_", "-")
	names := append([]string{"--" + strings.TrimSuffix(whole, "-mm"), "--" + whole, strings.ToUpper(field)},
		called[field]...)
	var words, flags []string
	for _, name := range names {
		flag, is := strings.CutPrefix(name, "--")
		switch {
		case !is:
			if word := wordOf(c, name); word != "" {
				words = append(words, word)
			}
		case c.Flags().Changed(flag):
			return name
		case c.Flags().Lookup(flag) != nil:
			flags = append(flags, name)
		}
	}
	return append(append(words, flags...), field)[0]
}

// wordOf is the word of a command's usage that is or begins with name.
func wordOf(c *cobra.Command, name string) string {
	for _, word := range strings.Fields(c.Use)[1:] {
		word = strings.TrimSuffix(strings.Trim(word, "[]"), "...")
		if word == name || strings.HasSuffix(name, "|") && strings.HasPrefix(word, name) {
			return word
		}
	}
	return ""
}

// fieldNames are what may be a field in a text: first of a fault, or with a _ in it.
var fieldNames = regexp.MustCompile(`(?:^|; )[a-z][a-z0-9_.]*: |\b[a-z]+(?:_[a-z0-9]+)+\b`)

// inFlags has a text of the API speak of flags where the command has them: "collar_mm: is needed" is
// "--collar is needed".
func inFlags(c *cobra.Command, text string) string {
	text = fieldNames.ReplaceAllStringFunc(text, func(found string) string {
		name := strings.TrimSuffix(strings.TrimPrefix(found, "; "), ": ")
		return strings.Replace(found, name, flagOf(c, name), 1)
	})
	return strings.ReplaceAll(text, ": is needed", " is needed")
}

// wrongUses are how the errors of the command line itself begin.
var wrongUses = []string{"unknown command", "unknown flag", "unknown shorthand", "accepts ", "requires ",
	"flag needs an argument"}

// wrongFlag says in plain words what a flag does not take.
func wrongFlag(_ *cobra.Command, err error) error {
	var wrong *pflag.InvalidValueError
	if !errors.As(err, &wrong) {
		return err
	}
	f := wrong.GetFlag()
	takes := map[string]string{"bool": "is given alone, or with =true or =false",
		"int":     "takes a whole number",
		"float64": "takes a number with a point, such as 0.12"}[f.Value.Type()]
	if takes == "" {
		takes = "cannot be read"
	}
	return &exit{exitWrongUse, fmt.Sprintf("--%s %s, not %q", f.Name, takes, wrong.GetValue())}
}

// neededFlags says which flags a command cannot do without.
func neededFlags(c *cobra.Command) error {
	var missing []string
	c.Flags().VisitAll(func(f *pflag.Flag) {
		if len(f.Annotations[cobra.BashCompOneRequiredFlag]) > 0 && !f.Changed {
			missing = append(missing, "--"+f.Name)
		}
	})
	if len(missing) == 0 {
		return nil
	}
	return &exit{exitWrongUse, strings.Join(missing, ", ") + " is needed; see " + c.CommandPath() + " --help"}
}

// unreadable says in plain words why a file that was named cannot be read; what names the flag or word.
func unreadable(what, name string, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, fs.ErrNotExist):
		return &exit{exitWrongUse, fmt.Sprintf("%s: there is no file %s", what, name)}
	case errors.Is(err, fs.ErrPermission):
		return &exit{exitFailed, fmt.Sprintf("%s: %s may not be read by this user", what, name)}
	}
	var at *fs.PathError
	if errors.As(err, &at) {
		err = at.Err
	}
	return &exit{exitWrongUse, fmt.Sprintf("%s: %s cannot be used: %v", what, name, err)}
}

// sharedFlags looks at the flags that every command has, whether this one goes by them or not, and at those
// that it cannot do without.
func sharedFlags(c *cobra.Command) error {
	units, _ := c.Flags().GetString("units")
	if _, err := tiles.ParseLengthUnit("units", units, tiles.MM); err != nil {
		return err
	}
	if site, _ := c.Flags().GetString("site"); c.Flags().Changed("site") {
		if _, err := siteNamed(site); err != nil {
			return err
		}
	}
	// what it names may be yet to come
	made := slices.Contains([]string{"setup", "take", "restore"}, c.Name())
	for _, name := range []string{"code-file", "config", "store"} {
		file, _ := c.Flags().GetString(name)
		if file == "" || made && name != "code-file" {
			continue
		}
		is, err := os.Stat(file)
		if err != nil {
			return unreadable("--"+name, file, err)
		}
		if folder := name == "store"; is.IsDir() != folder {
			return &exit{exitWrongUse, "--" + name + ": " + file +
				map[bool]string{true: " is no folder", false: " is a folder, not a file"}[folder]}
		}
	}
	return neededFlags(c)
}

// goesWith refuses flags that were given where they say nothing.
func goesWith(c *cobra.Command, what string, flags ...string) error {
	for _, name := range flags {
		if c.Flags().Changed(name) {
			return &exit{exitWrongUse, "--" + name + " goes with " + what}
		}
	}
	return nil
}

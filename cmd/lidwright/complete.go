package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
)

// What is completed at Tab: the daemon is asked for names, one second at most; where none answers there are
// none.
type completion = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective)

// completions by the word that stands in the usage of a command.
var completions = map[string]completion{
	"CLAY": namesOf("/v1/clays", func(c wire.ClayJSON) string { return c.Clay + "\t" + c.Name }),
	"KILN": namesOf("/v1/now", func(k wire.KilnNow) string {
		return k.Kiln + "\t" + strings.ReplaceAll(k.State, "_", " ")
	}),
	"CODE": namesOf("/v1/bars", func(b wire.BarJSON) string {
		return b.Bar + "\t" + b.Clay + "/" + b.Batch
	}),
	"FIRING": namesOf("/v1/firings", firingName),
	"ID":     namesOf("/v1/firings", firingName),
	"LOAD": namesOf("/v1/loads", func(l wire.Load) string {
		return strings.TrimPrefix(l.Name.String(), "Load ") + "\t" + l.Kiln + ", " + l.StateWords.String()
	}),
	"POT": namesOf("/v1/pots", func(p wire.Pot) string {
		return p.ID + "\t" + strings.TrimSpace(p.Mark+" "+p.Number+" "+p.Form)
	}),
	"STAGE": these(tiles.Stages()),
	"KIND":  these([]kiln.Kind{kiln.Bisque, kiln.Glaze, kiln.Once, kiln.Other}),
}

// completedFlags are the flags that a name is completed after.
var completedFlags = map[string]string{"clay": "CLAY", "lid-clay": "CLAY", "kiln": "KILN", "firing": "FIRING",
	"pot": "POT", "to": "LOAD", "kind": "KIND"}

// otherIDs are the commands whose ID is none of a firing.
var otherIDs = map[string]string{"pot lid": "POT", "result cross-out": "", "crossed-out restore": ""}

func firingName(f wire.Firing) string {
	return strings.ReplaceAll(f.Name, " ", "/") + "\t" + f.Kind
}

// namesOf asks path for a list and tells each thing of it by tell: what is completed, a tab, what it is.
func namesOf[T any](path string, tell func(T) string) completion {
	return func(c *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
		ctx, stop := context.WithTimeout(c.Context(), time.Second)
		defer stop()
		c.SetContext(ctx)
		cl, err := clientOf(c)
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		q := url.Values{}
		if path != "/v1/now" && path != "/v1/clays" {
			q.Set("limit", "500")
		}
		b, err := cl.Get(ctx, path, q, "application/json")
		var a struct{ Items []T }
		if err != nil || json.Unmarshal(b, &a) != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		var all []string
		for _, one := range a.Items {
			all = append(all, tell(one))
		}
		return all, cobra.ShellCompDirectiveNoFileComp
	}
}

// these are completed without asking.
func these[T ~string](words []T) completion {
	var all []string
	for _, w := range words {
		all = append(all, string(w))
	}
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return all, cobra.ShellCompDirectiveNoFileComp
	}
}

// sayLimit has the help of a flag say what the table of limits says of its field, where that is no list of
// words.
func sayLimit(f *pflag.Flag) {
	l, _ := tiles.LimitOf(f.Name)
	most, free := tiles.Decimal(l.Most), slices.Contains([]string{"by", "maker", "mark", "note", "why",
		"form", "shelf", "stamp"}, f.Name)
	switch kind := f.Value.Type(); {
	case kind == "string" && free && l.Longest > 0:
		f.Usage += fmt.Sprintf(" (at most %d characters)", l.Longest)
	case (kind == "float64" || kind == "int") && l.IsNumber() && !strings.ContainsAny(f.Usage, "0123456789"):
		f.Usage += fmt.Sprintf(" (%s to %s)", tiles.Decimal(l.Least), most)
	}
}

// complete has every command complete what its usage names, and its flags that take a name.
func complete(c *cobra.Command) {
	for _, sub := range c.Commands() {
		complete(sub)
	}
	for flag, word := range completedFlags {
		if c.Flags().Lookup(flag) != nil {
			// an error means that the command has its own
			c.RegisterFlagCompletionFunc(flag, completions[word])
		}
	}
	c.Flags().VisitAll(sayLimit)
	words := strings.Fields(c.Use)[1:]
	if c.ValidArgsFunction != nil || len(c.ValidArgs) > 0 || len(words) == 0 || c.Name() == "add" {
		return
	}
	c.ValidArgsFunction = func(c *cobra.Command, args []string, begun string) ([]string,
		cobra.ShellCompDirective) {
		at := min(len(args), len(words)-1)
		word := words[at]
		if len(args) >= len(words) && !strings.Contains(word, "...") {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		word = strings.TrimSuffix(strings.Trim(word, "[]"), "...")
		if other, ok := otherIDs[strings.TrimPrefix(c.CommandPath(), "lidwright ")]; ok && word == "ID" {
			word = other
		}
		switch f := completions[word]; {
		case f != nil:
			return f(c, args, begun)
		case strings.Contains(word, "FILE") || strings.Contains(word, "FOLDER"):
			return nil, cobra.ShellCompDirectiveDefault
		}
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
}

package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"lidwright/daemon"
)

// carryCommand takes a whole site out in one file, and in.
func carryCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "carry", Short: "Take everything of a site out in one file, or such a file in",
		Long: "A carry file is a zip: a table (CSV) of each kind of fact, the curves as they are stored, and a manifest with the\n" +
			"SHA-256 of each. It can be read without this program.",
		Example: "  sudo -u lidwright lidwright carry save /media/stick/studio.zip\n  sudo -u lidwright lidwright carry take /media/stick/studio.zip --dry-run",
	}
	save := &cobra.Command{
		Use: "save FILE", Short: "Write everything of this site into FILE", Args: cobra.ExactArgs(1),
		Long: "Write everything of this site into FILE, which must not be there yet, or with - to standard output. The daemon\n" +
			"may go on meanwhile. What other studios told of a clay is in it too, with its day; the key of a collector is\n" +
			"not: a new machine is joined with a code of its own.",
		Example: "  sudo -u lidwright lidwright carry save /media/stick/studio.zip\n  sudo -u lidwright lidwright carry save - > studio.zip",
		RunE: func(c *cobra.Command, args []string) error {
			cfg, err := settings(c)
			if err != nil {
				return err
			}
			path := args[0]
			if path == "-" {
				if path, err = besides(); err != nil {
					return err
				}
				defer os.RemoveAll(filepath.Dir(path))
			}
			working := works(c, "Writing the carry file")
			m, err := daemon.SaveCarry(c.Context(), cfg, path, version)
			working()
			if at := (*fs.PathError)(nil); errors.As(err, &at) && strings.HasPrefix(at.Path, path) {
				return unreadable("FILE", path, err)
			}
			if err != nil {
				return err
			}
			if args[0] == "-" {
				return pour(c, path)
			}
			if asJSON, _ := c.Flags().GetBool("json"); asJSON {
				return printJSON(c, m)
			}
			fmt.Fprintf(c.OutOrStdout(), "%s holds everything of site %s: %d files. Keep it away from the kiln room.\n", args[0], m.Site, len(m.Files))
			return nil
		},
	}
	take := &cobra.Command{
		Use: "take FILE", Short: "Take a carry file in: all of it or nothing", Args: cobra.ExactArgs(1),
		Long: `Take a carry file in: all of it or nothing. The daemon may go on meanwhile. A store that is empty becomes
that site. Otherwise what is known here by its id stays as it is, the rest comes, and names of the other
site that are taken here get new ones, each told: a clay tern becomes tern-2, a kiln big-blue becomes
big-blue-2, a bar whose code is taken gets the next free one. Where a name means the same thing on both
sides, say so with --same the first time; what each name is here is remembered for the next time. What
other studios told of a clay comes into an empty store alone: in another record, pick the body on the
clay's page once a collector is joined, and it is asked for anew. A yes to telling other studios of a clay
is said anew on the new machine. A copy of the store is made first.`,
		Example: "  lidwright carry take studio.zip --dry-run\n  lidwright carry take studio.zip --same \"kiln big-blue\" --same \"clay tern\"",
		RunE:    takeCarry,
	}
	take.Flags().Bool("dry-run", false, "say what it would bring; keep nothing")
	take.Flags().StringArray("same", nil, "a name that is the same thing here: \"kiln NAME\" or \"clay NAME\"")
	c.AddCommand(save, take)
	return c
}

// besides is a file of its own for what goes to standard output: a carry file is read through before it is
// given away.
func besides() (string, error) {
	folder, err := os.MkdirTemp("", "lidwright")
	if err != nil {
		return "", fmt.Errorf("save the carry file: %w", err)
	}
	return filepath.Join(folder, "carry.zip"), nil
}

// pour writes a file to standard output, which must not be a terminal.
func pour(c *cobra.Command, path string) error {
	if f, ok := c.OutOrStdout().(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		return &exit{exitWrongUse, "a carry file is no text for a terminal; send it on: lidwright carry save - > studio.zip"}
	}
	in, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("save the carry file: %w", err)
	}
	defer in.Close()
	if _, err := io.Copy(c.OutOrStdout(), in); err != nil {
		return fmt.Errorf("save the carry file: %w", err)
	}
	return nil
}

// works shows on a terminal that something goes on whose length is not known, until end is called.
func works(c *cobra.Command, what string) (end func()) {
	f, ok := c.ErrOrStderr().(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return func() {}
	}
	bar := progressbar.NewOptions(-1, progressbar.OptionSetWriter(f), progressbar.OptionSetDescription(what),
		progressbar.OptionSpinnerType(14), progressbar.OptionClearOnFinish(),
		progressbar.OptionSetElapsedTime(true),
		// no goroutine of its own: it looks at the bar unlocked
		progressbar.OptionSetSpinnerChangeInterval(0))
	stop := make(chan struct{})
	var ended sync.WaitGroup
	ended.Go(func() {
		tick := time.NewTicker(200 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-stop:
				bar.Finish()
				return
			case <-tick.C:
				bar.Add(1)
			}
		}
	})
	return func() {
		close(stop)
		ended.Wait()
	}
}

// sameNames are names of things that can be the same on both sides.
var sameNames = regexp.MustCompile(`^(?:kiln|clay) [a-z0-9-]{1,32}$`)

func takeCarry(c *cobra.Command, args []string) error {
	cfg, err := settings(c)
	if err != nil {
		return err
	}
	dry, _ := c.Flags().GetBool("dry-run")
	same, _ := c.Flags().GetStringArray("same")
	for _, name := range same {
		if !sameNames.MatchString(name) {
			return &exit{exitWrongUse, "--same " + name +
				": to be written as \"kiln big-blue\" or \"clay tern\""}
		}
	}
	if _, err := os.Stat(args[0]); err != nil {
		return unreadable("FILE", args[0], err)
	}
	working := works(c, "Reading the carry file")
	got, err := daemon.TakeCarry(c.Context(), cfg, args[0], same, dry, version)
	working()
	if err != nil {
		return err
	}
	if asJSON, _ := c.Flags().GetBool("json"); asJSON {
		return printJSON(c, map[string]any{"dry_run": dry, "site": got.Manifest.Site,
			"version": got.Manifest.Version, "whole": got.Whole,
			"new": got.New, "here_already": got.Here, "renamed": got.Renamed, "same": got.Same,
			"firings_left_there": got.Left, "told_by_others_left_there": got.Others})
	}
	tellCarried(c.OutOrStdout(), got, dry)
	return nil
}

// tellCarried says what a carry file brought, or would bring.
func tellCarried(w io.Writer, got daemon.Carried, dry bool) {
	word := "came"
	if dry {
		word = "would come"
	}
	switch {
	case got.Whole && dry:
		fmt.Fprintf(w, "The store is empty: it would be site %s.\n", got.Manifest.Site)
	case got.Whole:
		fmt.Fprintf(w, "The store was empty: it is site %s now.\n", got.Manifest.Site)
	}
	rows := [][]string{{"WHAT", "NEW", "HERE ALREADY"}}
	for _, table := range slices.Sorted(maps.Keys(got.New)) {
		rows = append(rows, []string{table, fmt.Sprint(got.New[table]), fmt.Sprint(got.Here[table])})
	}
	if len(rows) == 1 {
		fmt.Fprintln(w, "Nothing in it is new.")
		return
	}
	fmt.Fprintf(w, "From %s, saved %s by lidwright %s, %s:\n", got.Manifest.Site,
		got.Manifest.MadeAt.Format("2006-01-02 15:04"), got.Manifest.Version, word)
	table(w, rows)
	for _, r := range got.Renamed {
		fmt.Fprintf(w, "%s %s is taken here: it is %s\n", r.Kind, r.Was, r.Now)
	}
	if dry && len(got.Same) > 0 {
		fmt.Fprintln(w, "If such a name is the same thing on both sides, say so, now or never:")
		for _, name := range got.Same {
			fmt.Fprintf(w, "  --same %q\n", name)
		}
	}
	if got.Left > 0 {
		fmt.Fprintf(w, "%d firings were under way there and stay there; carry them when they are over.\n",
			got.Left)
	}
	if got.Others > 0 {
		fmt.Fprintf(w, "What other studios told there of %d clays stays there: it leaves that site's own bars out, not yours. Pick the body on\nthe clay's page once a collector is joined here, and it is asked for.\n", got.Others)
	}
	if yes := got.New["clay_body"]; yes > 0 {
		fmt.Fprintf(w, "What other studios told of %d clays is kept with its day. To tell them of yours, say yes again on the clay's page.\n", yes)
	}
}

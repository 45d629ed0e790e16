package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"slices"
	"strings"
	"text/tabwriter"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"lidwright/api/client"
	"lidwright/config"
	"lidwright/daemon"
	"lidwright/kiln"
	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// clientOf asks the daemon that the flags name: --store reads a folder and asks none, --site is the
// address, --config the settings of the site. Where no daemon answers at the usual address, or that
// of the settings, and none has the store of those settings open, the store itself is read.
func clientOf(c *cobra.Command) (*client.Client, error) {
	named, _ := c.Flags().GetString("site")
	folder, _ := c.Flags().GetString("store")
	site, err := siteNamed(named)
	if err != nil {
		return nil, err
	}
	code, err := codeFor(c, site)
	if err != nil {
		return nil, err
	}
	cl := &client.Client{Site: site.Address, Code: code}
	if verbose, _ := c.Flags().GetBool("verbose"); verbose {
		cl.Trace = func(method, url string, status int, took time.Duration) {
			fmt.Fprintf(c.ErrOrStderr(), "%s %s: %d in %.0f ms\n", method, url, status,
				float64(took.Microseconds())/1000)
		}
	}
	bySettings := c.Flags().Changed("config")
	if folder != "" || bySettings {
		cfg, err := settingsOf(c)
		if err != nil {
			return nil, err
		}
		if folder != "" {
			cfg.Store.Folder = folder
			cl.Handler, err = readStore(c, cfg)
			return cl, err
		}
		if !c.Flags().Changed("site") {
			if cl.Site, err = siteOf(cfg); err != nil {
				return nil, err
			}
		}
	}
	if bySettings || !c.Flags().Changed("site") {
		cl.Else = func(context.Context) (http.Handler, error) {
			cfg, err := settingsOf(c)
			if err != nil || !daemon.HasStore(cfg) || daemon.Running(cfg) {
				return nil, err
			}
			fmt.Fprintf(c.ErrOrStderr(), "no daemon answers; read from the store in %s\n", cfg.Store.Folder)
			return readStore(c, cfg)
		}
	}
	return cl, nil
}

// codeOf is the passcode that the flags or the environment tell.
func codeOf(c *cobra.Command) (string, error) { return codeFor(c, config.NamedSite{}) }

// codeFor is the passcode for a site: of --code-file, else that which goes with its name, else of the
// environment.
func codeFor(c *cobra.Command, site config.NamedSite) (string, error) {
	file, _ := c.Flags().GetString("code-file")
	file = cmp.Or(file, site.CodeFile)
	if file == "" {
		return os.Getenv("LIDWRIGHT_CODE"), nil
	}
	b, err := os.ReadFile(file)
	if err != nil {
		return "", unreadable("--code-file", file, err)
	}
	return strings.TrimSpace(string(b)), nil
}

// readStore is closed when the command ends.
func readStore(c *cobra.Command, cfg config.Config) (http.Handler, error) {
	answers, done, err := daemon.ReadStore(c.Context(), cfg, version, worldOf(c).now)
	if err != nil {
		return nil, err
	}
	context.AfterFunc(c.Context(), done)
	return answers, nil
}

// get asks path and decodes the answer; with --json it prints the bytes as they came and
// reports done.
func get(c *cobra.Command, path string, query url.Values, into any) (done bool, err error) {
	cl, err := clientOf(c)
	if err != nil {
		return false, err
	}
	b, err := cl.Get(c.Context(), path, query, "application/json")
	if err != nil {
		return false, err
	}
	return show(c, b, into)
}

// askedLengths gathers the flags that are parameters of a question. --units is the unit of bare lengths
// where --unit is not given.
func askedLengths(c *cobra.Command, known []string) url.Values {
	q := asked(c, known)
	if u, _ := c.Flags().GetString("units"); u != "" && q.Get("unit") == "" {
		q.Set("unit", u)
	}
	return q
}

// reckoner answers a question by the rates that are stated in it.
type reckoner func(q url.Values, unit tiles.LengthUnit, lids lid.Defaults) ([]byte, error)

// askOrReckon answers a question that names a clay by asking, as get does, and one that states its
// rates by reckoning, for which no daemon is needed.
func askOrReckon(c *cobra.Command, path string, q url.Values, clay bool, reckon reckoner,
	into any) (done bool, err error) {
	if clay {
		done, err = get(c, path, q, into)
	} else {
		var answer []byte
		if answer, err = reckon(q, tiles.MM, daemon.Lids(config.Default())); err == nil {
			done, err = show(c, answer, into)
		}
	}
	return done, err
}

// put sends a fact and decodes the answer, as get does.
func put(c *cobra.Command, path string, body, into any) (done bool, err error) {
	cl, err := clientOf(c)
	if err != nil {
		return false, err
	}
	b, err := cl.Put(c.Context(), path, body)
	if err != nil {
		return false, err
	}
	return show(c, b, into)
}

func show(c *cobra.Command, answer []byte, into any) (done bool, err error) {
	if asJSON, _ := c.Flags().GetBool("json"); asJSON {
		_, err := c.OutOrStdout().Write(answer)
		if into != nil {
			json.Unmarshal(answer, into)
		}
		return true, err
	}
	if into == nil {
		return false, nil
	}
	return false, decode(answer, into)
}

func decode(answer []byte, into any) error {
	if err := json.Unmarshal(answer, into); err != nil {
		return fmt.Errorf("the daemon's answer cannot be read (is it another version?): %w", err)
	}
	return nil
}

// world is what a command takes from outside and a test hands in: the clock by which a store is read,
// and the ids of new facts. Nil fields are those of the machine.
type world struct {
	now   func() kiln.Stamp
	newID func() string
}

type worldKey struct{}

func worldOf(c *cobra.Command) world {
	w, _ := c.Context().Value(worldKey{}).(world)
	return w
}

// newID makes an id for a new fact.
func newID(c *cobra.Command) string {
	if w := worldOf(c); w.newID != nil {
		return w.newID()
	}
	return uuid.Must(uuid.NewV7()).String()
}

// table writes rows in columns, on a terminal no wider than that is.
func table(w io.Writer, rows [][]string) {
	if f, ok := w.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		if width, _, err := term.GetSize(int(f.Fd())); err == nil {
			rows = fitted(rows, width)
		}
	}
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, r := range rows {
		fmt.Fprintln(t, strings.Join(r, "\t"))
	}
	t.Flush()
}

// narrowest is what fitted leaves of a column that it cuts, in characters: a day and an ellipsis.
const narrowest = 11

// fitted makes rows with two spaces between their columns no wider than width. A column of ids goes first,
// since part of an id is of no use; then the widest columns but the first, which is what one types to ask on,
// are cut, at most to narrowest characters, and end in an ellipsis; then columns go from the right. Rows that
// fit are left alone.
func fitted(rows [][]string, width int) [][]string {
	var wide []int
	for _, r := range rows {
		for i, cell := range r {
			if i == len(wide) {
				wide = append(wide, 0)
			}
			wide[i] = max(wide[i], utf8.RuneCountInString(cell))
		}
	}
	total := func() int {
		sum := 2 * (len(wide) - 1)
		for _, n := range wide {
			sum += n
		}
		return sum
	}
	if last := len(wide) - 1; last > 0 && len(rows[0]) > last && rows[0][last] == "ID" && total() > width {
		wide = wide[:last]
	}
	for len(wide) > 1 && total() > width {
		widest := 1 + slices.Index(wide[1:], slices.Max(wide[1:]))
		if wide[widest] > narrowest {
			wide[widest]--
		} else {
			wide = wide[:len(wide)-1]
		}
	}
	var cut [][]string
	for _, r := range rows {
		line := slices.Clone(r[:min(len(r), len(wide))])
		for i, cell := range line {
			if text := []rune(cell); len(text) > wide[i] {
				line[i] = string(text[:wide[i]-1]) + "…"
			}
		}
		cut = append(cut, line)
	}
	return cut
}

func num(v *float64, format string) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf(format, *v)
}

func str(v *string) string {
	if v == nil {
		return "-"
	}
	return *v
}

// printJSON prints an answer that no daemon gave.
func printJSON(c *cobra.Command, v any) error {
	e := json.NewEncoder(c.OutOrStdout())
	e.SetIndent("", "  ")
	return e.Encode(v)
}

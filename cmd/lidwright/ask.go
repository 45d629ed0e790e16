package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/url"
	"os"
	"strings"
	"text/tabwriter"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"lidwright/api"
)

// client is the asker of the daemon that the flags name.
func client(c *cobra.Command) (*api.Client, error) {
	site, _ := c.Flags().GetString("site")
	code := os.Getenv("LIDWRIGHT_CODE")
	if file, _ := c.Flags().GetString("code-file"); file != "" {
		b, err := os.ReadFile(file)
		if err != nil {
			return nil, fmt.Errorf("read the code: %w", err)
		}
		code = strings.TrimSpace(string(b))
	}
	return &api.Client{Site: site, Code: code}, nil
}

// get asks path and decodes the answer; with --json it prints the bytes as they came and
// reports done.
func get(c *cobra.Command, path string, query url.Values, into any) (done bool, err error) {
	cl, err := client(c)
	if err != nil {
		return false, err
	}
	b, err := cl.Get(c.Context(), path, query, "application/json")
	if err != nil {
		return false, err
	}
	return show(c, b, into)
}

// put sends a fact and decodes the answer, as get does.
func put(c *cobra.Command, path string, body, into any) (done bool, err error) {
	cl, err := client(c)
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

// newID makes an id for a new fact.
func newID() string { return uuid.Must(uuid.NewV7()).String() }

// table writes rows in columns.
func table(w io.Writer, rows [][]string) {
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, r := range rows {
		fmt.Fprintln(t, strings.Join(r, "\t"))
	}
	t.Flush()
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

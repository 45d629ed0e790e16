package main

import (
	"fmt"
	"net/url"

	"github.com/spf13/cobra"
)

func makerCommand() *cobra.Command {
	c := &cobra.Command{Use: "maker", Short: "Makers' marks", Example: "  lidwright maker forget KT"}
	forget := &cobra.Command{
		Use: "forget MARK", Short: "Blank a maker's mark everywhere; what was measured stays (owner)", Args: cobra.ExactArgs(1),
		Long:    "Blank a maker's mark wherever it stands. Readings, bars and pot cards stay and count as\nbefore. Texts of notes are left as they were written, and copies made earlier still have\nthe mark until they are renewed.",
		Example: "  lidwright maker forget KT",
		RunE: func(c *cobra.Command, args []string) error {
			var a struct{ Rows int }
			done, err := put(c, "/v1/makers/"+url.PathEscape(args[0])+"/forget", map[string]any{}, &a)
			if err == nil && !done {
				fmt.Fprintf(c.OutOrStdout(), "%s is forgotten: %d facts stay without it.\n", args[0], a.Rows)
			}
			return err
		},
	}
	c.AddCommand(forget)
	return c
}

package main

import (
	"fmt"
	"net/url"

	"lidwright/api/wire"

	"github.com/spf13/cobra"
)

func makerCommand() *cobra.Command {
	c := &cobra.Command{Use: "maker", Short: "Makers' marks", Example: "  lidwright maker forget KT"}
	forget := &cobra.Command{
		Use: "forget MARK", Short: "Blank a maker's mark everywhere; what was measured stays (owner)",
		Args:    cobra.ExactArgs(1),
		Long:    "Blank a maker's mark wherever it stands. Readings, bars and pot cards stay and count as\nbefore. Texts of notes are left as they were written. A copy is made; copies of before that\nstill have the mark are named, and lidwright copy renew takes it out of them.",
		Example: "  lidwright maker forget KT",
		RunE: func(c *cobra.Command, args []string) error {
			var a wire.Forgotten
			done, err := put(c, "/v1/makers/"+url.PathEscape(args[0])+"/forget", map[string]any{}, &a)
			if err == nil && !done {
				fmt.Fprintf(c.OutOrStdout(), "%s is forgotten: %d facts stay without it.\n", args[0], a.Rows)
				if a.Why != "" {
					fmt.Fprintf(c.OutOrStdout(), "The newest copy still has it: %s\n", a.Why)
				}
				for _, k := range a.Older {
					fmt.Fprintf(c.OutOrStdout(), "The copy of %s still has it: %s\n", k.At, k.Name)
				}
				if len(a.Older) > 0 {
					fmt.Fprintln(c.OutOrStdout(), "Take it out of them with: lidwright copy renew")
				}
				for _, name := range a.Aside {
					fmt.Fprintf(c.OutOrStdout(),
						"This file was moved aside earlier and may have it; delete it by hand when nobody needs it: %s\n", name)
				}
			}
			return err
		},
	}
	c.AddCommand(forget)
	return c
}

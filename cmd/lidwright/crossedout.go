package main

import (
	"fmt"
	"net/url"

	"lidwright/api/wire"

	"github.com/spf13/cobra"
)

func crossedOutCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "crossed-out", Short: "What was crossed out lately, and back",
		Args: cobra.NoArgs, RunE: listCrossedOut,
		Example: "  lidwright crossed-out\n  lidwright crossed-out --hours 168\n  lidwright crossed-out restore 0193c0c1-0000-7000-8000-000000000005",
	}
	c.Flags().Float64("hours", 12, "since how many hours ago, 0 to 8784")
	restore := &cobra.Command{
		Use: "restore ID", Short: "Restore what was crossed out: it counts as before",
		Args:    cobra.ExactArgs(1),
		Long:    "Restore a length, a cone, a note or a board of lids that was crossed out, or a load that was called\noff. Its id stands in the list: lidwright crossed-out",
		Example: "  lidwright crossed-out restore 0193c0c1-0000-7000-8000-000000000005",
		RunE: func(c *cobra.Command, args []string) error {
			var a wire.List[wire.CrossedOut]
			cl, err := clientOf(c)
			if err != nil {
				return err
			}
			b, err := cl.Get(c.Context(), "/v1/crossed-out", url.Values{"hours": {"8784"}}, "")
			if err == nil {
				err = decode(b, &a)
			}
			if err != nil {
				return err
			}
			for _, o := range a.Items {
				if o.ID != args[0] {
					continue
				}
				by, _ := c.Flags().GetString("by")
				raw, err := cl.Post(c.Context(), "/v1/crossed-out/"+o.Kind+"/"+url.PathEscape(o.ID)+
					"/restore", wire.RestoreBody{By: by})
				if err != nil {
					return err
				}
				done, err := show(c, raw, &a)
				if err == nil && !done {
					fmt.Fprintf(c.OutOrStdout(), "Restored: %s\n", o.What)
				}
				return err
			}
			return &exit{exitFailed, "nothing crossed out in the last year has the id " + args[0] +
				"; see lidwright crossed-out --hours 8784"}
		},
	}
	restore.Flags().String("by", "", "mark of who restores it")
	c.AddCommand(restore)
	return c
}

func listCrossedOut(c *cobra.Command, _ []string) error {
	var a wire.List[wire.CrossedOut]
	done, err := get(c, "/v1/crossed-out", asked(c, []string{"hours"}), &a)
	if err != nil || done {
		return err
	}
	out := c.OutOrStdout()
	if len(a.Items) == 0 {
		fmt.Fprintln(out, "Nothing was crossed out lately.")
		return nil
	}
	rows := [][]string{{"AT", "BY", "WHAT", "WHY", "ID"}}
	for _, o := range a.Items {
		at := ""
		if o.At != nil {
			at = *o.At
		}
		rows = append(rows, []string{at, o.By, o.What.String(), o.Why, o.ID})
	}
	table(out, rows)
	fmt.Fprintln(out, "Restore one: lidwright crossed-out restore ID")
	return nil
}

package main

import (
	"net/url"

	"lidwright/api/wire"

	"github.com/spf13/cobra"
)

func storyCommand() *cobra.Command {
	return &cobra.Command{
		Use: "story CODE", Short: "All that happened to a bar: readings, what was crossed out, loads, and what it did to the rate", Args: cobra.ExactArgs(1),
		Example: "  lidwright bars story BQ7",
		RunE: func(c *cobra.Command, args []string) error {
			var a wire.Story
			done, err := get(c, "/v1/bars/"+url.PathEscape(args[0])+"/story", nil, &a)
			if err != nil || done {
				return err
			}
			rows := [][]string{{"WHEN", "WHAT", "OF IT", "BY", "WHY"}}
			for _, i := range a.Items {
				at := "still to come"
				if i.At != nil && len(*i.At) >= 16 {
					at = (*i.At)[:10] + " " + (*i.At)[11:16]
				}
				rows = append(rows, []string{at, i.What, i.Says.String(), i.By, i.Why})
			}
			table(c.OutOrStdout(), rows)
			return nil
		},
	}
}

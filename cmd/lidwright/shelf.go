package main

import (
	"fmt"
	"net/url"

	"lidwright/api/wire"

	"github.com/spf13/cobra"
)

func shelvesCommand() *cobra.Command {
	return &cobra.Command{
		Use: "shelves KILN", Short: "How much the shelves of a kiln differ, and where to pack a pot and its lid", Args: cobra.ExactArgs(1),
		Example: "  lidwright load shelves big-blue",
		RunE: func(c *cobra.Command, args []string) error {
			var a wire.Shelves
			done, err := get(c, "/v1/kilns/"+url.PathEscape(args[0])+"/shelves", nil, &a)
			if err != nil || done {
				return err
			}
			if len(a.Shelves) > 0 {
				rows := [][]string{{"SHELF", "HOTTER BY °C", "± °C", "BARS"}}
				for _, s := range a.Shelves {
					rows = append(rows, []string{s.Shelf, num(s.MoreC, "%+.0f"), num(s.SDC, "%.0f"),
						fmt.Sprint(s.Bars)})
				}
				table(c.OutOrStdout(), rows)
			}
			fmt.Fprintln(c.OutOrStdout(), a.Says)
			return nil
		},
	}
}

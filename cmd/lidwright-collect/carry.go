package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"lidwright/daemon/collector"
)

// carryCommand brings the record of a studio back to it.
func carryCommand() *cobra.Command {
	return &cobra.Command{
		Use: "carry STUDIO FILE", Short: "Write all that a studio sent into a file that a new machine of it takes in",
		Args: cobra.ExactArgs(2),
		Long: "Where a studio lost its card and its copies: write the file, bring it to the new Pi, and there\n" +
			"  lidwright carry take FILE\n" +
			"Clays, bars, loads, lids, firings and curves are as they were; raw lines of the kiln are not among them, and marks of\n" +
			"makers are blank where the studio did not send them. The studio then joins again with a code of: studio again STUDIO.",
		Example: `  lidwright-collect carry "Room 3" room3.zip --config /etc/lidwright/collect.toml`,
		RunE: func(c *cobra.Command, args []string) error {
			return asOwner(c, func(ctx context.Context, o collector.Owner) (string, error) {
				site, err := siteNamed(ctx, o, args[0])
				if err != nil {
					return "", wrongUse{err}
				}
				m, left, err := o.Carry(ctx, site, args[1], version)
				if err != nil {
					return "", err
				}
				changes, firings := 0, 0
				for _, f := range m.Files {
					switch f.Name {
					case "change.csv":
						changes = f.Rows
					case "firing.csv":
						firings = f.Rows
					}
				}
				says := fmt.Sprintf("%s has %d changes and %d firings.", args[1], changes, firings)
				for _, l := range left {
					says += "\nThis version has no place for change " + l
				}
				return says, nil
			})
		},
	}
}

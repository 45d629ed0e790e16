package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"lidwright/api"
)

// safetyTopic is lidwright help safety: every caution, with the standing line first.
func safetyTopic() *cobra.Command {
	long := api.Standing + "\n" + api.ElectricKilns + "\n" + api.Checked + "\n"
	place := ""
	for _, c := range api.Cautions {
		if c.Place != place {
			place = c.Place
			long += "\n" + place + "\n"
		}
		long += fmt.Sprintf("  %2d  %s (%s)\n", c.Number, c.Text, c.Source)
	}
	return &cobra.Command{Use: "safety", Short: "Cautions about kilns, fumes, dust and wires", Long: long}
}

package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"lidwright/api/caution"
	"lidwright/api/topics"
)

// safetyTopic is lidwright help safety: every caution, with the standing line first.
func safetyTopic() *cobra.Command {
	long := caution.StandingLine + "\n" + caution.ElectricKilns + "\n" + caution.Checked + "\n"
	place := ""
	for _, c := range caution.All {
		if c.Place != place {
			place = c.Place
			long += "\n" + place + "\n"
		}
		long += fmt.Sprintf("  %2d  %s (%s)\n", c.Number, c.Text, c.Source)
	}
	return &cobra.Command{Use: "safety", Short: "Cautions about kilns, fumes, dust and wires", Long: long}
}

// helpTopics are lidwright help NAME for each topic of the help, the texts of the pages /help/NAME.
func helpTopics() (all []*cobra.Command) {
	for _, t := range topics.All("en") {
		all = append(all, &cobra.Command{Use: t.Name, Short: t.Title, Long: t.Plain()})
	}
	return all
}

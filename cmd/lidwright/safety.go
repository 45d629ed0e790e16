package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"lidwright/api/caution"
	"lidwright/api/topics"
)

// safetyTopic is lidwright help safety: every caution, with the standing line first.
func safetyTopic() *cobra.Command {
	return topic("safety", "Cautions about kilns, fumes, dust and wires", safetyText)
}

// topic is a command that has a help alone, whose text is made when it is asked for: each start would pay for
// it.
func topic(name, title string, text func() string) *cobra.Command {
	c := &cobra.Command{Use: name, Short: title}
	c.SetHelpFunc(func(c *cobra.Command, args []string) {
		c.Long = text()
		c.Root().HelpFunc()(c, args)
	})
	return c
}

func safetyText() string {
	long := caution.StandingLine + "\n" + caution.ElectricKilns + "\n" + caution.Checked + "\n"
	place := ""
	for _, c := range caution.All {
		if c.Place != place {
			place = c.Place
			long += "\n" + place + "\n"
		}
		long += fmt.Sprintf("  %2d  %s (%s)\n", c.Number, c.Text, c.Source)
	}
	return long
}

// helpTopics are lidwright help NAME for each topic of the help, the texts of the pages /help/NAME.
func helpTopics() (all []*cobra.Command) {
	for _, t := range topics.All("en") {
		all = append(all, topic(t.Name, t.Title, t.Plain))
	}
	return all
}

package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
)

// collectorCommand has a studio join a collector, says what may be sent, and leaves it.
func collectorCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "collector", Short: "Join a collector, where several studios are looked after together",
		Long: "A collector shows several studios side by side and keeps their records a second time. A running daemon is\n" +
			"asked (owner code). It never waits for a collector and works the same without one.",
		Example: "  lidwright collector join https://collector.school.example:8583 KQ7T-3HVW-XNLD --code-file owner.txt\n  lidwright collector status --code-file owner.txt",
	}
	join := &cobra.Command{
		Use: "join URL CODE", Short: "Join by a code of the collector's owner; nothing is sent before --keep",
		Args: cobra.ExactArgs(2),
		Long: "The key that the collector gives lies in collector.json of the store's folder, for the daemon's user alone.\n" +
			"Nothing is sent yet: say what may be with --keep here or later, or on the page Settings.",
		Example: "  lidwright collector join https://collector.school.example:8583 KQ7T-3HVW-XNLD --keep --code-file owner.txt",
		RunE: func(c *cobra.Command, args []string) error {
			ca, _ := c.Flags().GetString("ca-file")
			if ca != "" {
				var err error
				if ca, err = filepath.Abs(ca); err != nil {
					return err
				}
				if _, err := os.Stat(ca); err != nil {
					return &exit{exitWrongUse, "--ca-file: " + err.Error()}
				}
			}
			keep, _ := c.Flags().GetBool("keep")
			makers, _ := c.Flags().GetBool("makers")
			answer, done, err := askCollector(c, "/v1/collector",
				map[string]any{"url": args[0], "code": args[1], "ca_file": ca}, keep)
			if err == nil && keep {
				answer, done, err = askCollector(c, "/v1/collector/purposes",
					map[string]any{"keep": true, "makers": makers}, false)
			}
			if err != nil || done {
				return err
			}
			answer.print(c)
			return nil
		},
	}
	join.Flags().String("ca-file", "", "certificate of whoever vouches for the collector, where that is the school's own")
	join.Flags().Bool("keep", false, "send the record, to be kept there a second time, and what the kilns do now")
	join.Flags().Bool("makers", false, "with the marks of makers")
	leave := &cobra.Command{
		Use: "leave", Short: "Leave the collector", Args: cobra.NoArgs,
		Example: "  lidwright collector leave --forget --code-file owner.txt",
		RunE: func(c *cobra.Command, _ []string) error {
			forget, _ := c.Flags().GetBool("forget")
			answer, done, err := askCollector(c, "/v1/collector/leave",
				map[string]any{"forget": forget}, false)
			if err != nil || done {
				return err
			}
			answer.print(c)
			return nil
		},
	}
	leave.Flags().Bool("forget", false, "have the collector delete everything of this studio first")
	status := &cobra.Command{
		Use: "status", Short: "How this studio stands to its collector", Args: cobra.NoArgs,
		Example: "  lidwright collector status --code-file owner.txt",
		RunE: func(c *cobra.Command, _ []string) error {
			var answer collectorAnswer
			done, err := get(c, "/v1/collector", nil, &answer)
			if err != nil || done {
				return err
			}
			answer.print(c)
			return nil
		},
	}
	c.AddCommand(join, leave, status, bodiesCommand(), bodyCommand())
	return c
}

type collectorAnswer struct {
	Joined             bool
	URL, Name, Trouble string
	Site               string
	Keep, Makers       bool
	Behind             int64
	LastOK             string `json:"last_ok_at"`
}

// askCollector asks the daemon to do something about the collector. quiet leaves the answer unprinted where
// it is asked for as JSON.
func askCollector(c *cobra.Command, path string, body any,
	quiet bool) (a collectorAnswer, done bool, err error) {
	cl, err := clientOf(c)
	if err != nil {
		return a, false, err
	}
	raw, err := cl.Post(c.Context(), path, body)
	if err != nil || quiet {
		return a, false, err
	}
	done, err = show(c, raw, &a)
	return a, done, err
}

func (a collectorAnswer) print(c *cobra.Command) {
	out := c.OutOrStdout()
	if !a.Joined {
		fmt.Fprintf(out, "No collector is joined. This record is %s.\n", a.Site)
		return
	}
	fmt.Fprintf(out, "Joined %s as %s. This record is %s.\n", a.URL, a.Name, a.Site)
	switch {
	case !a.Keep:
		fmt.Fprintln(out, "Nothing is sent: the owner has not said yes (join with --keep, or the page Settings).")
	case a.Makers:
		fmt.Fprintf(out, "The record is sent with the marks of makers; %d changes are not there yet.\n", a.Behind)
	default:
		fmt.Fprintf(out, "The record is sent without the marks of makers; %d changes are not there yet.\n", a.Behind)
	}
	if a.LastOK != "" {
		fmt.Fprintf(out, "Something was taken last at %s.\n", a.LastOK)
	}
	if a.Trouble != "" {
		fmt.Fprintf(out, "%s Recording goes on; what waits is sent later.\n", a.Trouble)
	}
}

package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"lidwright/daemon/collector"
)

// studioCommand admits studios and sends them away.
func studioCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "studio", Short: "Admit studios, list them, end their keys, forget them",
		Long: "A studio joins by a code that is good for a day: on its Pi, lidwright collector join URL CODE. What it sends is\n" +
			"its owner's choice. A studio is named by its id, as the list shows it, or by its name where only one has it.",
	}
	c.AddCommand(
		owners("add NAME", "Make a code with which a new studio joins within a day", 1, `  lidwright-collect studio add "Room 3"`,
			func(ctx context.Context, o collector.Owner, args []string) (string, error) {
				return o.Add(ctx, args[0])
			}),
		owners("list", "Studios, when they were heard last, and how far they are behind", 0, "  lidwright-collect studio list",
			func(ctx context.Context, o collector.Owner, _ []string) (string, error) { return list(ctx, o) }),
		owners("again STUDIO", "Make a code with which a studio joins anew, on another machine or with a new key", 1, `  lidwright-collect studio again "Room 3"`,
			onStudio("", func(ctx context.Context, o collector.Owner, site string) (string, error) { return o.Again(ctx, site) })),
		owners("revoke STUDIO", "End the key of a studio; what came of it stays", 1, `  lidwright-collect studio revoke "Room 3"`,
			onStudio("Its key is ended. What it sent stays until you forget it.", func(ctx context.Context, o collector.Owner, site string) (string, error) {
				return "", o.Revoke(ctx, site)
			})),
		owners("forget STUDIO", "Delete everything of a studio, for good", 1, `  lidwright-collect studio forget "Room 3"`,
			onStudio("Everything of it is deleted here. Your backups of the database still have it for as long as you keep them.", func(ctx context.Context, o collector.Owner, site string) (string, error) {
				return "", o.Forget(ctx, site)
			})),
	)
	readmit := owners("readmit STUDIO", "Let a studio in again whose key was ended, or whose record is lost here", 1, `  lidwright-collect studio readmit "Room 3"`, nil)
	readmit.Flags().String("name", "", "name of a studio that is not known here any more")
	readmit.RunE = func(c *cobra.Command, args []string) error {
		name, _ := c.Flags().GetString("name")
		return asOwner(c, func(ctx context.Context, o collector.Owner) error {
			site, err := siteNamed(ctx, o, args[0])
			if err != nil {
				if !collector.IsSite(args[0]) || name == "" {
					return wrongUse{fmt.Errorf("%w; one that is lost here comes back by its id and --name", err)}
				}
				site = args[0]
			}
			if err := o.Readmit(ctx, site, name); err != nil {
				return err
			}
			fmt.Fprintln(c.OutOrStdout(), "It may send again; what is missing here comes by itself.")
			return nil
		})
	}
	c.AddCommand(readmit)
	return c
}

// owners is a command of the collector's owner, who works on the database itself.
func owners(use, short string, args int, example string, f func(context.Context, collector.Owner, []string) (string, error)) *cobra.Command {
	return &cobra.Command{Use: use, Short: short, Example: example, Args: cobra.ExactArgs(args), RunE: func(c *cobra.Command, args []string) error {
		return asOwner(c, func(ctx context.Context, o collector.Owner) error {
			says, err := f(ctx, o, args)
			if err == nil {
				fmt.Fprintln(c.OutOrStdout(), strings.TrimRight(says, "\n"))
			}
			return err
		})
	}}
}

func asOwner(c *cobra.Command, f func(context.Context, collector.Owner) error) error {
	cfg, err := settingsOf(c)
	if err != nil {
		return err
	}
	o, err := collector.OpenOwner(c.Context(), cfg)
	if err != nil {
		return err
	}
	defer o.Close()
	return f(c.Context(), o)
}

func onStudio(done string, f func(context.Context, collector.Owner, string) (string, error)) func(context.Context, collector.Owner, []string) (string, error) {
	return func(ctx context.Context, o collector.Owner, args []string) (string, error) {
		site, err := siteNamed(ctx, o, args[0])
		if err != nil {
			return "", wrongUse{err}
		}
		says, err := f(ctx, o, site)
		if says == "" {
			says = done
		}
		return says, err
	}
}

// siteNamed is the id of the studio with that id, or with that name if only one has it.
func siteNamed(ctx context.Context, o collector.Owner, text string) (string, error) {
	all, err := o.Sites(ctx)
	if err != nil {
		return "", err
	}
	found := ""
	for _, s := range all {
		switch {
		case s.ID == text:
			return s.ID, nil
		case s.Name == text && found != "":
			return "", fmt.Errorf("more than one studio is called %s; name it by its id, see: lidwright-collect studio list", text)
		case s.Name == text:
			found = s.ID
		}
	}
	if found == "" {
		return "", errors.New("no studio is called " + text + "; see: lidwright-collect studio list")
	}
	return found, nil
}

func list(ctx context.Context, o collector.Owner) (string, error) {
	all, err := o.Sites(ctx)
	if err != nil {
		return "", err
	}
	if len(all) == 0 {
		return `No studio has joined yet. Make a code for one: lidwright-collect studio add "Room 3"`, nil
	}
	var out strings.Builder
	w := tabwriter.NewWriter(&out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "studio\theard last\tbehind by\tstate\tid")
	for _, s := range all {
		heard, state := "not yet", "joined"
		if !s.Seen.IsZero() {
			heard = s.Seen.Local().Format(time.DateTime)
		}
		switch {
		case !s.Forked.IsZero():
			state = "two machines say they are this one"
		case !s.Revoked.IsZero():
			state = "key ended"
		case s.Open:
			state = "waits for its first key"
		case s.Anew:
			state = "sends its record anew"
		}
		fmt.Fprintf(w, "%s\t%s\t%d\t%s\t%s\n", s.Name, heard, s.Behind(), state, s.ID)
	}
	w.Flush()
	return out.String(), nil
}

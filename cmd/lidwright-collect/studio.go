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
		owners("add NAME", "Make a code with which a new studio joins within a day", `add "Room 3"`,
			func(ctx context.Context, o collector.Owner, name string) (string, error) {
				return o.Add(ctx, name)
			}),
		owners("list", "Studios, when they were heard last, and how far they are behind", "list",
			func(ctx context.Context, o collector.Owner, _ string) (string, error) { return list(ctx, o) }),
		owners("again STUDIO", "Make a code with which a studio joins anew, on another machine or with a new key",
			`again "Room 3"`, onStudio(collector.Owner.Again)),
		owners("revoke STUDIO", "End the key of a studio; what came of it stays", `revoke "Room 3"`,
			onStudio(func(o collector.Owner, ctx context.Context, site string) (string, error) {
				return "Its key is ended. What it sent stays until you forget it.", o.Revoke(ctx, site)
			})),
		owners("forget STUDIO", "Delete everything of a studio, for good", `forget "Room 3"`,
			onStudio(func(o collector.Owner, ctx context.Context, site string) (string, error) {
				return "Everything of it is deleted here. Your backups of the database still have it for as long as " +
					"you keep them.", o.Forget(ctx, site)
			})),
	)
	readmit := owners("readmit STUDIO", "Let a studio in again whose key was ended, or whose record is lost here",
		`readmit "Room 3"`, nil)
	readmit.Flags().String("name", "", "name of a studio that is not known here any more")
	readmit.RunE = func(c *cobra.Command, args []string) error {
		name, _ := c.Flags().GetString("name")
		return asOwner(c, func(ctx context.Context, o collector.Owner) (string, error) {
			site, err := siteNamed(ctx, o, args[0])
			if err != nil {
				if !collector.IsSite(args[0]) || name == "" {
					return "", wrongUse{fmt.Errorf("%w; one that is lost here comes back by its id and --name", err)}
				}
				site = args[0]
			}
			return "It may send again; what is missing here comes by itself.", o.Readmit(ctx, site, name)
		})
	}
	c.AddCommand(readmit)
	return c
}

// act is what the collector's owner does, by the argument of its command, and what is to be said of it.
type act func(ctx context.Context, o collector.Owner, argument string) (says string, err error)

// owners is a command of the collector's owner, who works on the database itself.
func owners(use, short, example string, do act) *cobra.Command {
	args := strings.Fields(use)[1:]
	return &cobra.Command{Use: use, Short: short, Example: "  lidwright-collect studio " + example,
		Args: cobra.ExactArgs(len(args)),
		RunE: func(c *cobra.Command, args []string) error {
			return asOwner(c, func(ctx context.Context, o collector.Owner) (string, error) {
				return do(ctx, o, strings.Join(args, ""))
			})
		}}
}

// asOwner opens the database of the settings, does what is asked and says what came of it.
func asOwner(c *cobra.Command, do func(context.Context, collector.Owner) (string, error)) error {
	cfg, err := settingsOf(c)
	if err != nil {
		return err
	}
	o, err := collector.OpenOwner(c.Context(), cfg)
	if err != nil {
		return err
	}
	defer o.Close()
	says, err := do(c.Context(), o)
	if err == nil {
		fmt.Fprintln(c.OutOrStdout(), strings.TrimRight(says, "\n"))
	}
	return err
}

// onStudio does something about the studio that is named.
func onStudio(do func(o collector.Owner, ctx context.Context, site string) (string, error)) act {
	return func(ctx context.Context, o collector.Owner, argument string) (string, error) {
		site, err := siteNamed(ctx, o, argument)
		if err != nil {
			return "", wrongUse{err}
		}
		return do(o, ctx, site)
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

package main

import (
	"context"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"lidwright/daemon/collector"
)

// bodyCommand keeps the catalogue of bodies.
func bodyCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "body", Short: "Keep the catalogue of clay bodies that studios buy",
		Long: "A studio's owner picks the body that a clay of hers is; nothing is matched without a person. What studios tell of\n" +
			"a body is told for its cone, so that a body of another cone is another body. A body is named by its id, as the list shows it.",
	}
	does := func(use, short, example string, do func(ctx context.Context, o collector.Owner,
		args []string) (string, error)) *cobra.Command {
		return &cobra.Command{Use: use, Short: short, Example: "  lidwright-collect " + example,
			Args: cobra.ExactArgs(len(strings.Fields(use)) - 1),
			RunE: func(c *cobra.Command, args []string) error {
				return asOwner(c, func(ctx context.Context, o collector.Owner) (string, error) {
					return do(ctx, o, args)
				})
			}}
	}
	c.AddCommand(
		does("add SUPPLIER NUMBER NAME CONE",
			"Enter a body, with the supplier's number for it and the cone that it matures at",
			`body add "Sandpit Clays" 1140 "Smooth stoneware" 6`,
			func(ctx context.Context, o collector.Owner, a []string) (string, error) {
				id, err := o.NewBody(ctx, a[0], a[1], a[2], a[3])
				if err != nil {
					return "", wrongUse{err}
				}
				return "Its id is " + id + ".", nil
			}),
		does("list", "Bodies, how many studios told of each, and since when that is told", "body list",
			func(ctx context.Context, o collector.Owner, _ []string) (string, error) {
				return listBodies(ctx,
					o)
			}),
		does("merge BODY INTO", "Say that a body stands twice: what was told of the one goes to the other",
			"body merge 0199a3c4-… 0199a3c1-…",
			func(ctx context.Context, o collector.Owner, a []string) (string, error) {
				return "They are one. Studios that picked the first are told of the second from now on.",
					onBodies(o.MergeBody(ctx, a[0], a[1]), a...)
			}),
		does("split BODY NAME", "Begin a new body beside one whose recipe changed",
			`body split 0199a3c1-… "Smooth stoneware, 2026 recipe"`,
			func(ctx context.Context, o collector.Owner, a []string) (string, error) {
				id, err := o.SplitBody(ctx, a[0], a[1])
				return "Its id is " + id +
						". What was told before stays with the old one; studios pick the new one themselves.",
					onBodies(err, a[0])
			}),
	)
	return c
}

// poolCommand looks after what studios told of bodies.
func poolCommand() *cobra.Command {
	c := &cobra.Command{Use: "pool", Short: "Go back to what was told of a body before"}
	c.AddCommand(&cobra.Command{Use: "back BODY",
		Short:   "Tell what was told of a body before the newest, where that looks wrong; the last ten are kept",
		Example: "  lidwright-collect pool back 0199a3c1-…", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return asOwner(c, func(ctx context.Context, o collector.Owner) (string, error) {
				return "Studios are told what was told before. Another is worked out when studios send something new.", onBodies(o.PoolBack(ctx, args[0]), args[0])
			})
		}})
	return c
}

// onBodies turns trouble with an id that is none into wrong use.
func onBodies(err error, ids ...string) error {
	for _, id := range ids {
		if !collector.IsSite(id) {
			return wrongUse{fmt.Errorf("%q is no id of a body; see: lidwright-collect body list", id)}
		}
	}
	return err
}

func listBodies(ctx context.Context, o collector.Owner) (string, error) {
	all, err := o.Bodies(ctx)
	if err != nil {
		return "", err
	}
	if len(all) == 0 {
		return `No body is entered yet: lidwright-collect body add "Sandpit Clays" 1140 "Smooth stoneware" 6`,
			nil
	}
	var out strings.Builder
	w := tabwriter.NewWriter(&out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "supplier\tnumber\tname\tcone\tstudios\tbars\ttold since\tid")
	for _, b := range all {
		told := "too few studios yet"
		switch {
		case b.Became != "":
			told = "merged into " + b.Became
		case !b.Made.IsZero():
			told = b.Made.Local().Format(time.DateTime)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%d\t%d\t%s\t%s\n", b.Supplier, b.Number, b.Name, b.Cone, b.Studios,
			b.Bars, told, b.ID)
	}
	w.Flush()
	return out.String(), nil
}

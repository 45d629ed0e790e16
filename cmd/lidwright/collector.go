package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"lidwright/api/wire"
)

// collectorCommand has a studio join a collector, says what may be sent, and leaves it.
func collectorCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "collector", Short: "Join a collector, where several studios are looked after together",
		Long: "A collector shows several studios side by side and keeps their records a second time. A running daemon is\n" +
			"asked (owner passcode). It never waits for a collector and works the same without one.",
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
					return unreadable("--ca-file", ca, err)
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
		fmt.Fprintf(out, "The record is sent with the marks of makers; %d changes are not there yet.\n",
			a.Behind)
	default:
		fmt.Fprintf(out, "The record is sent without the marks of makers; %d changes are not there yet.\n",
			a.Behind)
	}
	if a.LastOK != "" {
		fmt.Fprintf(out, "Something was taken last at %s.\n", a.LastOK)
	}
	if a.Trouble != "" {
		fmt.Fprintf(out, "%s Recording goes on; what waits is sent later.\n", a.Trouble)
	}
}

// bodiesCommand lists the clay bodies of the collector.
func bodiesCommand() *cobra.Command {
	return &cobra.Command{
		Use: "bodies [WORD...]", Short: "Clay bodies that the collector lists, as suppliers sell them",
		Long: "The collector's owner keeps the list. With words only bodies whose supplier, number or name has them all.\n" +
			"The id on the left is what collector body --is takes.",
		Example: "  lidwright collector bodies stoneware --code-file owner.txt",
		RunE: func(c *cobra.Command, args []string) error {
			var all wire.Catalogue
			done, err := get(c, "/v1/collector/bodies", nil, &all)
			if err != nil || done {
				return err
			}
			w := tabwriter.NewWriter(c.OutOrStdout(), 0, 0, 2, ' ', 0)
			shown := 0
			for _, b := range all.Items {
				if b.Became != "" || !hasWords(b, args) {
					continue
				}
				if shown++; shown == 1 {
					fmt.Fprintln(w, "id\tsupplier\tnumber\tname\tcone")
				}
				fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", b.ID, b.Supplier, cmp.Or(b.Number, "-"), b.Name,
					b.Cone)
			}
			if shown == 0 {
				fmt.Fprintln(w, "The collector lists no such body. Its owner enters them.")
			}
			return w.Flush()
		},
	}
}

func hasWords(b wire.CatalogueBody, words []string) bool {
	text := strings.ToLower(b.Supplier + " " + b.Number + " " + b.Name)
	for _, w := range words {
		if !strings.Contains(text, strings.ToLower(w)) {
			return false
		}
	}
	return true
}

// bodyCommand says which body of the collector a clay is.
func bodyCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "body [CLAY]", Short: "Which body of the collector a clay is, what others tell of it, what was sent",
		Long: "Until your own bars tell, what other studios measured of a clay stands in for the figure of the bag. It is kept\n" +
			"here and used without the collector. --is says which body of the list a clay is; nothing is sent by that.\n" +
			"--send says yes to telling what the bars of it say: 104 numbers, how many bars they were and the year of the\n" +
			"newest bag; no reading, name, note or day. --send=false takes it back: the collector deletes it. Without a clay: all.",
		Example: "  lidwright collector body --code-file owner.txt\n" +
			"  lidwright collector body tern --is 0199a3c4-0000-7000-8000-000000000000 --code-file owner.txt\n" +
			"  lidwright collector body tern --send --code-file owner.txt\n" +
			"  lidwright collector body tern --is none --code-file owner.txt",
		Args: cobra.MaximumNArgs(1),
		RunE: askBody,
	}
	c.Flags().String("is", "", "id of a body as collector bodies lists it, or none")
	c.Flags().Bool("send", false, "tell the others what the bars of it say; --send=false takes it back")
	return c
}

func askBody(c *cobra.Command, args []string) error {
	sets := c.Flags().Changed("is") || c.Flags().Changed("send")
	if len(args) == 0 && sets {
		return &exit{exitWrongUse, "name the clay that --is or --send is said of: lidwright collector body CLAY"}
	}
	var all wire.List[wire.CollectorClay]
	asJSON, _ := c.Flags().GetBool("json")
	cl, err := clientOf(c)
	if err != nil {
		return err
	}
	raw, err := cl.Get(c.Context(), "/v1/collector/clays", nil, "application/json")
	if err == nil {
		err = decode(raw, &all)
	}
	if err != nil {
		return err
	}
	if len(args) == 0 {
		if asJSON {
			_, err := c.OutOrStdout().Write(raw)
			return err
		}
		for _, one := range all.Items {
			bodyAnswer(one).print(c.OutOrStdout())
		}
		return nil
	}
	one := wire.CollectorClay{Clay: args[0]}
	for _, each := range all.Items {
		if each.Clay == args[0] {
			one = each
		}
	}
	if sets || one.Name == "" { // a clay that is not there is refused by the daemon, in its words
		pick := wire.ClayPoolPick{Send: one.Send}
		if one.Body != nil {
			pick.Body = one.Body.ID
		}
		if is, _ := c.Flags().GetString("is"); c.Flags().Changed("is") {
			if pick.Body = is; is == "none" {
				pick.Body = ""
			}
		}
		if c.Flags().Changed("send") {
			pick.Send, _ = c.Flags().GetBool("send")
		}
		if raw, err = cl.Put(c.Context(), "/v1/collector/clays/"+url.PathEscape(args[0]), pick); err != nil {
			return err
		}
		one = wire.CollectorClay{}
		if done, err := show(c, raw, &one); err != nil || done {
			return err
		}
	} else if asJSON {
		return json.NewEncoder(c.OutOrStdout()).Encode(one)
	}
	bodyAnswer(one).print(c.OutOrStdout())
	if one.LastBody != "" {
		fmt.Fprintf(c.OutOrStdout(), "  Sent last: %s\n", one.LastBody)
	}
	return nil
}

type bodyAnswer wire.CollectorClay

func (a bodyAnswer) print(w io.Writer) {
	if a.Body == nil {
		fmt.Fprintf(w, "%s (%s): no body of the collector is picked.\n", a.Clay, a.Name)
		for _, b := range a.Proposed {
			fmt.Fprintf(w, "  It may be %s: --is %s\n", bodyName(b), b.ID)
		}
	} else {
		fmt.Fprintf(w, "%s (%s) is %s, cone %s.\n", a.Clay, a.Name, bodyName(*a.Body), a.Body.Cone)
	}
	switch {
	case a.Body == nil:
	case a.Told == nil:
		fmt.Fprintln(w, "  Too few other studios tell of it yet.")
	default:
		fmt.Fprintln(w, "  "+othersTell(*a.Told))
		for _, says := range a.Told.Advice {
			fmt.Fprintf(w, "  %s\n", says)
		}
	}
	switch {
	case a.Body == nil:
	case a.YesAgain:
		fmt.Fprintln(w, "  The record was put back from a copy or carried here: what its bars tell is sent again once you say --send again.")
	case a.Send && a.LastBody == "":
		fmt.Fprintln(w, "  What its bars tell is sent as soon as bars of a bought bag tell something and the collector answers.")
	case a.Send:
		fmt.Fprintln(w, "  What its bars tell is sent.")
	default:
		fmt.Fprintln(w, "  Nothing of it is sent.")
	}
	if a.Trouble != "" {
		fmt.Fprintf(w, "  %s\n", a.Trouble)
	}
}

// bodyName is a body as its supplier calls it.
func bodyName(b wire.CatalogueBody) string {
	return strings.Join(strings.Fields(b.Supplier+" "+b.Number+" "+b.Name), " ")
}

// othersTell is what other studios tell of a clay in a sentence.
func othersTell(t wire.BodyTold) string {
	says := fmt.Sprintf("%d other studios tell of it, as of %s", t.Studios, t.Made.Format(time.DateOnly))
	if t.OthersRatio != nil {
		says += fmt.Sprintf(": %s %% where it matures", percent(t.OthersRatio))
	}
	if t.OwnRatio != nil {
		says += fmt.Sprintf(", %s %% by your own bars", percent(t.OwnRatio))
	}
	if t.LeftOut {
		return says + "; it is left out here."
	}
	return says + "."
}

// The runtime need not ask each second how many processors the machine has: a Pi keeps its own.
//go:debug updatemaxprocs=0

// Command lidwright is the whole program: the daemon (lidwright run) and the commands that
// ask it. Each command has a short file of its own.
//
// In flow flags, names and files; out flow lines for people, or with --json the bytes of the answer as it
// came. A command asks the daemon over HTTP by api/client; with --store, and where no daemon answers and none
// has the store open, the same routes answer in the same process from the store. A question that states its
// own rates needs neither. The exit code says how it went: see lidwright --help.
//
// It holds no rule of the trade and decodes answers by the types of api/wire.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"syscall"

	"github.com/spf13/cobra"

	"lidwright/api/caution"
	"lidwright/api/wire"
)

// version is set at build time from git.
var version = "unknown"

// Exit codes, as the help states them.
const (
	exitDone         = 0
	exitFailed       = 1
	exitWrongUse     = 2
	exitWeakRate     = 3
	exitNotReachable = 4
	exitCannotStart  = 5
)

// exit is an error with its own exit code. An empty text prints nothing more.
type exit struct {
	code int
	says string
}

func (e *exit) Error() string { return e.says }

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// run is the program without the process: arguments in, exit code out.
func run(ctx context.Context, args []string, stdout, stderr *os.File) int {
	ctx, end := context.WithCancel(ctx)
	defer end()
	root := rootCommand()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	asked, err := root.ExecuteContextC(ctx)
	if err == nil {
		return exitDone
	}
	code, says := explain(err, asked)
	if own := (*exit)(nil); ctx.Err() != nil && !errors.As(err, &own) {
		// Ctrl-C: whatever broke off then is no fault. A command that says itself what became of it is let
		// speak.
		code, says = exitFailed, "stopped"
	}
	if asJSON, _ := asked.Flags().GetBool("json"); (asJSON || slices.Contains(args, "--json")) && says != "" {
		stderr.Write(problemOf(err, code, says))
		return code
	}
	if says != "" {
		fmt.Fprintln(stderr, "lidwright: "+says)
	}
	return code
}

// problemOf is an error as a line of JSON: the problem that the API answered (RFC 9457), or one of our own
// with what would have been said as its title; exit_code is that of the program.
func problemOf(err error, code int, says string) []byte {
	var p *wire.Problem
	var told any = struct {
		Type  string `json:"type"`
		Title string `json:"title"`
		Code  int    `json:"exit_code"`
	}{"about:blank", says, code}
	if errors.As(err, &p) {
		told = struct {
			*wire.Problem
			Code int `json:"exit_code"`
		}{p, code}
	}
	line, err := json.Marshal(told)
	if err != nil {
		return []byte("{}\n")
	}
	return append(line, '\n')
}

func rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:   "lidwright",
		Short: "How wide to throw a lid so that it fits its fired gallery",
		Long: `lidwright watches a kiln, keeps every firing, and learns from shrink bars how wide a lid
must be thrown. It never controls a kiln.

Exit codes: 0 done; 1 failed; 2 wrong use, or settings that do not load; 3 answered, but the
rate is weak (no bars, old, made or fired differently, or outside tested heat) or the width is held back; 4 no daemon
answers; 5 cannot start until someone acts.

` + caution.StandingLine,
		Example: `  lidwright practice                 try it without a kiln
  lidwright setup                    find the kiln's line, a question at a time
  lidwright lid --collar 104.5 --opening 92.5 --clay tern
  lidwright bar BQ7 fired 87.6
  lidwright now`,
		Version:       version,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.SetFlagErrorFunc(wrongFlag)
	root.PersistentPreRunE = func(c *cobra.Command, _ []string) error {
		if quiet, _ := c.Flags().GetBool("quiet"); quiet {
			root.SetErr(io.Discard)
		}
		return sharedFlags(c)
	}
	f := root.PersistentFlags()
	f.String("site", "http://127.0.0.1:8573", "daemon to ask: HOST:PORT, or a name of lidwright sites")
	f.String("config", "", "settings file ("+installed+" where there is one)")
	f.String("store", "", "folder with a store to read, no daemon is asked")
	f.String("code-file", "", "file that holds the bench or owner passcode (or LIDWRIGHT_CODE in the environment)")
	if err := root.RegisterFlagCompletionFunc("site", completeSites); err != nil {
		panic(err) // there is no such flag
	}
	f.Bool("json", false, "print the answer as JSON")
	f.Bool("plain", false, "print the bare number or words")
	f.BoolP("quiet", "q", false, "no messages beside the answer but errors")
	f.BoolP("verbose", "v", false, "tell each request and how long it took")
	f.String("units", "", "unit of bare lengths: mm, cm, in or 32nds")
	for _, g := range []struct {
		title    string
		commands []*cobra.Command
	}{
		{"To ask", []*cobra.Command{lidCommand(), boardCommand(), sizeCommand(), rateCommand(), nowCommand(),
			firingsCommand(), firingCommand()}},
		{"To keep what was made, measured and seen", []*cobra.Command{clayCommand(), barsCommand(),
			barCommand(), loadCommand(), potCommand(), resultCommand(), kilnCommand(), probeCommand(),
			makerCommand(), crossedOutCommand()}},
		{"To set up and look after", []*cobra.Command{practiceCommand(), setupCommand(), checkCommand(),
			runCommand(), codeCommand(), copyCommand(), carryCommand(), collectorCommand(), sitesCommand(),
			tablesCommand(), importCommand()}},
	} {
		root.AddGroup(&cobra.Group{ID: g.title, Title: g.title + ":"})
		for _, c := range g.commands {
			c.GroupID = g.title
			root.AddCommand(c)
		}
	}
	cobra.EnableCommandSorting = false // as they stand here
	root.AddCommand(safetyTopic())
	root.AddCommand(helpTopics()...)
	for _, c := range root.Commands() {
		group(c)
		complete(c)
	}
	return root
}

// group makes a command that only has others under it refuse a word that is none of them.
func group(c *cobra.Command) {
	if !c.HasSubCommands() || c.Runnable() {
		return
	}
	c.RunE = func(c *cobra.Command, args []string) error {
		if len(args) == 0 {
			return c.Help()
		}
		return &exit{exitWrongUse, fmt.Sprintf("unknown command %q for %q; see %s --help", args[0],
			c.CommandPath(), c.CommandPath())}
	}
}

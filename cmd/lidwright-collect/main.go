// Command lidwright-collect is the collector: where several studios are looked after together, their kilns
// are seen side by side and their records are kept a second time. It only takes what studios send; it asks
// and sets nothing on them, and no studio needs it.
//
// run answers, check looks the settings and the database over, studio admits and sends away, carry writes
// what a studio sent as a file that a new machine of it takes in, code makes the owner's passcode, try starts
// a collector of its own with practice studios.
package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"lidwright/api/caution"
	"lidwright/config"
	"lidwright/daemon"
	"lidwright/daemon/collector"
)

// version is set at build time from git.
var version = "unknown"

// Exit codes, as the help states them.
const (
	exitDone        = 0
	exitFailed      = 1
	exitWrongUse    = 2
	exitCannotStart = 5
)

// wrongUse is an error by what was typed or set.
type wrongUse struct{ error }

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// run is the program without the process: arguments in, exit code out.
func run(ctx context.Context, args []string, stdout, stderr *os.File) int {
	root := rootCommand()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitDone
	}
	fmt.Fprintln(stderr, "lidwright-collect: "+err.Error())
	var wrong wrongUse
	switch {
	case errors.As(err, &wrong), strings.HasPrefix(err.Error(), "unknown "),
		strings.HasPrefix(err.Error(), "accepts "):
		return exitWrongUse
	case errors.Is(err, collector.ErrCannotStart):
		return exitCannotStart
	}
	return exitFailed
}

func rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:   "lidwright-collect",
		Short: "Several studios side by side, and their records a second time",
		Long: `lidwright-collect takes what studios send and shows it: this shows what arrived, look at the kiln.
It runs on PostgreSQL, 15 or newer. Several may run on one database.

Exit codes: 0 done; 1 failed; 2 wrong use, or settings that do not load; 5 cannot start until
someone acts.

` + caution.StandingLine,
		Example: `  lidwright-collect try                              see it with three practice studios
  lidwright-collect code /etc/lidwright/collect.code
  lidwright-collect check --config /etc/lidwright/collect.toml
  lidwright-collect studio add "Room 3" --config /etc/lidwright/collect.toml`,
		Version: version, SilenceUsage: true, SilenceErrors: true,
	}
	root.PersistentFlags().String("config", "",
		"settings file; what it leaves out comes from "+config.CollectPrefix+" variables")
	root.AddCommand(runCommand(), checkCommand(), studioCommand(), bodyCommand(), poolCommand(),
		carryCommand(), codeCommand(), tryCommand())
	return root
}

func settingsOf(c *cobra.Command) (config.Collect, error) {
	path, _ := c.Flags().GetString("config")
	cfg, err := config.LoadCollect(path, os.Environ())
	if err != nil {
		return cfg, wrongUse{err}
	}
	return cfg, nil
}

func runCommand() *cobra.Command {
	return &cobra.Command{
		Use: "run", Short: "Answer studios and show the pages, until stopped", Args: cobra.NoArgs,
		Example: "  lidwright-collect run --config /etc/lidwright/collect.toml",
		RunE: func(c *cobra.Command, _ []string) error {
			cfg, err := settingsOf(c)
			if err != nil {
				return err
			}
			logTo(c, cfg)
			d, err := collector.New(c.Context(), cfg, version)
			if err != nil {
				return err
			}
			d.Read = readStore
			d.Ready = func(address string) {
				slog.Info("ready", "version", version, "page",
					pageAt(cfg, address))
			}
			return d.Run(c.Context())
		},
	}
}

// readStore answers for the record in a folder as the program beside a kiln does.
func readStore(ctx context.Context, folder string) (http.Handler, func(), error) {
	cfg := config.Default()
	cfg.Store.Folder = folder
	return daemon.ReadStore(ctx, cfg, version, nil)
}

func logTo(c *cobra.Command, cfg config.Collect) {
	var level slog.Level
	level.UnmarshalText([]byte(cfg.Log.Level)) // one of the four that the settings take
	options := &slog.HandlerOptions{Level: level}
	var handler slog.Handler = slog.NewTextHandler(c.ErrOrStderr(), options)
	if cfg.Log.Format == "json" {
		handler = slog.NewJSONHandler(c.ErrOrStderr(), options)
	}
	slog.SetDefault(slog.New(handler))
}

func pageAt(cfg config.Collect, address string) string {
	if cfg.Listen.TLSCert != "" {
		return "https://" + address
	}
	return "http://" + address
}

func checkCommand() *cobra.Command {
	return &cobra.Command{
		Use: "check", Short: "Look the settings and the database over", Args: cobra.NoArgs,
		Example: "  lidwright-collect check --config /etc/lidwright/collect.toml",
		RunE: func(c *cobra.Command, _ []string) error {
			cfg, err := settingsOf(c)
			if err != nil {
				return err
			}
			fmt.Fprintln(c.OutOrStdout(), "ok    settings  they load")
			o, err := collector.OpenOwner(c.Context(), cfg)
			if err != nil {
				return fmt.Errorf("the database does not answer: %w", err)
			}
			defer o.Close()
			all, err := o.Sites(c.Context())
			if err != nil {
				return fmt.Errorf("the database does not answer: %w", err)
			}
			fmt.Fprintf(c.OutOrStdout(), "ok    database  it answers; studios: %d\n", len(all))
			return nil
		},
	}
}

func codeCommand() *cobra.Command {
	return &cobra.Command{
		Use: "code FILE", Short: "Make the owner's passcode of the pages and show it once",
		Args:    cobra.ExactArgs(1),
		Long:    "Only a hash is kept, in FILE, which owner.code_file of the settings names: write the passcode down now.\nA running collector takes it at once, and every session of the old one ends.",
		Example: "  lidwright-collect code /etc/lidwright/collect.code",
		RunE: func(c *cobra.Command, args []string) error {
			code, err := collector.NewOwnerCode(args[0])
			if err != nil {
				return err
			}
			fmt.Fprintln(c.OutOrStdout(), code)
			fmt.Fprintf(c.ErrOrStderr(), "This is the owner's passcode, shown this once. Its hash is in %s.\n", args[0])
			return nil
		},
	}
}

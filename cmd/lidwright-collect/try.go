package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"lidwright/config"
	"lidwright/daemon/collector"
	"lidwright/daemon/collector/cluster"
)

// tryCommand shows the collector without anything set up.
func tryCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "try", Short: "See it without setting anything up: a database, a collector and three practice studios", Args: cobra.NoArgs,
		Long: "Starts PostgreSQL in a folder of its own, a collector on it, and practice studios that join it and send all.\n" +
			"It needs Debian's postgresql, no service of it, and lidwright beside this program. Ctrl-C stops everything.\n" +
			"The studios are invented; so are their figures.",
		Example: "  lidwright-collect try --folder run-collector",
	}
	c.Flags().String("folder", "run-collector", "where database and studios are kept")
	c.Flags().String("address", "127.0.0.1:8583",
		"address of the collector's page; the studios have the ports after it")
	c.Flags().Int("studios", 3, "practice studios")
	c.RunE = func(c *cobra.Command, _ []string) error {
		folder, _ := c.Flags().GetString("folder")
		address, _ := c.Flags().GetString("address")
		studios, _ := c.Flags().GetInt("studios")
		folder, err := filepath.Abs(folder)
		if err != nil {
			return err
		}
		return try(c, folder, address, studios)
	}
	return c
}

func try(c *cobra.Command, folder, address string, studios int) error {
	ctx, stop := context.WithCancel(c.Context())
	defer stop()
	out := c.OutOrStdout()
	if _, err := portAfter(address, studios); err != nil {
		return err
	}
	program, err := beside("lidwright")
	if err != nil {
		return err
	}
	fmt.Fprintln(out, "Starting a database ...")
	server, err := database(ctx, folder)
	if err != nil {
		return err
	}
	defer server.Stop()
	cfg := config.DefaultCollect()
	cfg.Name, cfg.Listen.Address, cfg.Database.URL, cfg.Keep.BackupDays = "Practice collector", address,
		server.URL("collect"), 0
	slog.SetDefault(slog.New(slog.NewTextHandler(c.ErrOrStderr(),
		&slog.HandlerOptions{Level: slog.LevelWarn})))
	d, err := collector.New(ctx, cfg, version)
	if err != nil {
		return err
	}
	ready, ended := make(chan string, 1), make(chan error, 1)
	d.Read = readStore
	d.Ready = func(at string) { ready <- at }
	go func() { ended <- d.Run(ctx) }() // stop ends it, and what it says is waited for below
	var page string
	select {
	case at := <-ready:
		page = pageAt(cfg, at)
	case err := <-ended:
		return err
	}
	for n := range studios {
		if err := practise(ctx, c, program, filepath.Join(folder, fmt.Sprint("studio-", n+1)),
			page, cfg, n); err != nil {
			stop()
			return errors.Join(err, <-ended)
		}
	}
	fmt.Fprintf(out, "\n  The collector: %s\n  Ctrl-C stops everything.\n\n", page)
	return <-ended
}

// database starts the cluster of the folder, made now or before.
func database(ctx context.Context, folder string) (*cluster.Server, error) {
	at := filepath.Join(folder, "database")
	_, err := os.Stat(filepath.Join(at, "PG_VERSION"))
	fresh := errors.Is(err, os.ErrNotExist)
	var server *cluster.Server
	if fresh {
		if err := os.MkdirAll(folder, 0o755); err != nil {
			return nil, err
		}
		server, err = cluster.Make(ctx, at, false)
	} else {
		server, err = cluster.At(at)
	}
	if err != nil {
		return nil, err
	}
	if err := server.Start(ctx); err != nil {
		return nil, err
	}
	if fresh {
		if err := server.CreateDatabase(ctx, "collect"); err != nil {
			server.Stop()
			return nil, err
		}
	}
	return server, nil
}

// practise starts the n-th practice studio and has it join, unless it did before. It ends with ctx.
func practise(ctx context.Context, c *cobra.Command, program, folder, page string,
	cfg config.Collect, n int) error {
	port, err := portAfter(cfg.Listen.Address, n+1)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	log, err := os.OpenFile(filepath.Join(folder, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer log.Close()
	studio := exec.CommandContext(ctx, program, "practice", "--folder", folder, "--address", port,
		"--studio", strconv.Itoa(n+1))
	studio.Stdout, studio.Stderr = log, log
	studio.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGTERM}
	studio.Cancel = func() error { return studio.Process.Signal(syscall.SIGTERM) }
	gone, started := make(chan error, 1), make(chan error)
	// the thread that starts it stays: where that ends, the kernel tells the child that its parent died
	go func() {
		runtime.LockOSThread()
		err := studio.Start()
		started <- err
		if err != nil {
			return
		}
		err = studio.Wait()
		if ctx.Err() == nil {
			fmt.Fprintf(c.ErrOrStderr(), "Practice studio %d ended (%v); its log is %s\n", n+1, err,
				log.Name())
		}
		gone <- err
	}()
	if err := <-started; err != nil {
		return err
	}
	site := "http://" + port
	for !answers(ctx, site+"/readyz") {
		select {
		case err := <-gone:
			return fmt.Errorf("a practice studio ended: %w; its log is %s", err, log.Name())
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(200 * time.Millisecond):
		}
	}
	if _, err := os.Stat(filepath.Join(folder, "store", "collector.json")); err == nil {
		fmt.Fprintf(c.OutOrStdout(), "  Studio %d: %s\n", n+1, site)
		return nil
	}
	o, err := collector.OpenOwner(ctx, cfg)
	if err != nil {
		return err
	}
	defer o.Close()
	code, err := o.Add(ctx, fmt.Sprintf("Practice studio %d", n+1))
	if err != nil {
		return err
	}
	join := exec.CommandContext(ctx, program, "collector", "join", page, code, "--keep", "--site", site)
	if said, err := join.CombinedOutput(); err != nil {
		return fmt.Errorf("studio %d does not join: %w: %s", n+1, err, said)
	}
	fmt.Fprintf(c.OutOrStdout(), "  Studio %d: %s\n", n+1, site)
	return nil
}

func answers(ctx context.Context, url string) bool {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return false
	}
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		return false
	}
	a.Body.Close()
	return a.StatusCode == http.StatusOK
}

// beside is a program in the folder of this one, else on the path.
func beside(name string) (string, error) {
	self, err := os.Executable()
	if err != nil {
		return "", err
	}
	if at := filepath.Join(filepath.Dir(self), name); at != self {
		if _, err := os.Stat(at); err == nil {
			return at, nil
		}
	}
	at, err := exec.LookPath(name)
	if err != nil {
		return "", fmt.Errorf("%s is neither beside this program nor on the path: make build puts both into bin", name)
	}
	return at, nil
}

// portAfter is an address of this machine, n ports after another one.
func portAfter(address string, n int) (string, error) {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return "", wrongUse{fmt.Errorf("--address: %w", err)}
	}
	number, err := strconv.Atoi(port)
	if err != nil || number == 0 || number+n > 65535 {
		return "", wrongUse{fmt.Errorf("--address: %q has no port that others can follow", address)}
	}
	return net.JoinHostPort(host, strconv.Itoa(number+n)), nil
}

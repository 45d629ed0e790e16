package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"lidwright/api/caution"
	"lidwright/api/client"
	"lidwright/api/wire"
	"lidwright/config"
	"lidwright/daemon"
	"lidwright/kiln"
	"lidwright/kiln/source"
)

func checkCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "check [KILN]",
		Short: "Listen to every line of the settings and say in words what was received",
		Long: `Read the settings, listen to every line of theirs, and say in words what was received: good and bad
lines, the last value, Modbus numbers in every order of their bytes, and whether the speed or the unit
looks wrong. Where a daemon is running with these settings it is asked for its last minute instead of
opening a port that it holds.

A channel that is on no line is told with the places that the lines do have. from is a column (its number
from 1, or its name), a key, a JSON path (keys with points between, lists from 0: probe.0.t), or a group of
the pattern, which must match the whole line.

What is sent to a kiln's device is what the daemon would send and nothing else; the lines "sends" tell all of it.
The MQTT broker and the relay for e-mail of the settings are asked to let us in; nothing is published and no mail sent.
Each line begins with ok or LOOK. Exit code 1: a line of the settings gave no good reading.

--bus looks at a shared bus (Modbus on RS-485): which numbers answer, and at which speed. It takes a kiln of the
settings, or a device, and tells first what it would send: readings of one register, nothing else.

--record keeps every byte that passes, with its time, in a file to send with a bug report; practice --replay
plays it.`,
		Example: "  lidwright check --config lidwright.toml\n  lidwright check big-blue --seconds 30 --json\n  lidwright check --bus /dev/serial/by-id/usb-YOUR_ADAPTER-if00-port0 --numbers 1-32\n  lidwright check big-blue --record line.txt --seconds 600",
		Args:    cobra.MaximumNArgs(1),
		RunE:    check,
	}
	c.Flags().String("bus", "", "a kiln of the settings or a device: which numbers answer on its bus, and at which speed")
	c.Flags().String("numbers", "1-32", "with --bus: the numbers that are asked, 1 to 247")
	c.Flags().Bool("yes", false, "with --bus: the cautions have been read; ask")
	c.Flags().String("record", "", "a new file that keeps every byte of the line with its time")
	c.Flags().Int("seconds", 0, "how long to listen, 1 to 3600 (0: long enough for three readings, 10 to 60)")
	return c
}

// finding is one line of the check.
type finding struct {
	Good  bool   `json:"good"`
	About string `json:"about"`
	Says  string `json:"says"`
}

type checked struct {
	Findings []finding   `json:"findings"`
	Lines    []wire.Line `json:"lines"`
}

func (r *checked) say(good bool, about, format string, args ...any) {
	r.Findings = append(r.Findings, finding{good, about, fmt.Sprintf(format, args...)})
}

func check(c *cobra.Command, args []string) error {
	long, _ := c.Flags().GetInt("seconds")
	if long < 0 || long > 3600 {
		return &exit{exitWrongUse, fmt.Sprintf("--seconds %d: from 1 to 3600, or 0 for long enough", long)}
	}
	if bus, _ := c.Flags().GetString("bus"); bus == "" {
		if err := goesWith(c, "--bus", "numbers", "yes"); err != nil {
			return err
		}
	}
	cfg, err := settingsOf(c)
	if err != nil {
		return err
	}
	r := checked{Lines: []wire.Line{}}
	var deaf bool
	if bus, _ := c.Flags().GetString("bus"); bus != "" {
		deaf, err = r.bus(c, cfg, bus)
	} else {
		deaf, err = r.all(c, cfg, args, time.Duration(long)*time.Second)
	}
	if err != nil {
		return err
	}
	if asJSON, _ := c.Flags().GetBool("json"); asJSON {
		e := json.NewEncoder(c.OutOrStdout())
		e.SetEscapeHTML(false)
		if err := e.Encode(r); err != nil {
			return err
		}
	} else {
		r.print(c.OutOrStdout())
	}
	if deaf {
		return &exit{exitFailed, ""}
	}
	return nil
}

// all checks everything, or the line of one kiln, and records it where that is wanted.
func (r *checked) all(c *cobra.Command, cfg config.Config, args []string, long time.Duration) (deaf bool,
	err error) {
	if len(args) > 0 {
		if cfg, err = onLineOf(cfg, kiln.KilnID(args[0])); err != nil {
			return false, err
		}
	}
	rec, err := newRecorder(c, cfg)
	if err != nil {
		return false, err
	}
	r.settings(cfg)
	if len(args) == 0 {
		r.outward(c.Context(), cfg)
		r.kilnsOfRecord(c, cfg)
	}
	var trace func(kiln.Stamp, source.Traced, []byte)
	if rec != nil {
		trace = rec.happened
	}
	deaf, err = r.lines(c, cfg, long, trace)
	if rec != nil {
		err = errors.Join(err, rec.close(r))
	}
	return deaf, err
}

// onLineOf are the settings with the kilns alone that speak on one kiln's line.
func onLineOf(cfg config.Config, id kiln.KilnID) (config.Config, error) {
	at := slices.IndexFunc(cfg.Kilns, func(k config.Kiln) bool { return k.ID == id })
	if at < 0 {
		var there []string
		for _, k := range cfg.Kilns {
			there = append(there, string(k.ID))
		}
		return cfg, misused(fmt.Errorf("the settings have no kiln %q; there are %s", id,
			cmp.Or(strings.Join(there, ", "), "none")))
	}
	port := cfg.Kilns[at].Port
	cfg.Kilns = slices.DeleteFunc(slices.Clone(cfg.Kilns), func(k config.Kiln) bool {
		return k.ID != id && (k.Port == "" || k.Port != port)
	})
	return cfg, nil
}

func (r *checked) print(w io.Writer) {
	for _, f := range r.Findings {
		fmt.Fprintf(w, "%-5s %-9s %s\n", map[bool]string{true: "ok", false: "LOOK"}[f.Good], f.About, f.Says)
	}
	fmt.Fprintf(w, "\n%s\n", caution.StandingLine)
	for _, n := range caution.Wiring {
		fmt.Fprintf(w, "- %s\n", caution.Text(n))
	}
}

// settings tells what the settings say, without opening anything.
func (r *checked) settings(cfg config.Config) {
	r.say(true, "settings", "%s", first(cfg.File, "none: defaults"))
	for _, a := range cfg.Advice {
		r.say(false, "settings", "%s", a)
	}
	if _, err := os.Stat(cfg.Store.Folder); err != nil {
		r.say(false, "store", "%s is not there yet; run makes it", cfg.Store.Folder)
	} else {
		r.say(true, "store", "%s", cfg.Store.Folder)
	}
	if clock, err := daemon.NewClock(); err == nil && clock.Now().Trusted {
		r.say(true, "clock", "set by the network")
	} else {
		r.say(false, "clock", "not set since the start; hours and heat work are right all the same")
	}
	if len(cfg.Kilns) == 0 {
		r.say(false, "kiln", "none in the settings: bars and lids work, nothing is received")
	}
	for _, k := range cfg.Kilns {
		if k.Port == "" {
			r.say(true, "port", "%s has no line: it is kept by hand", k.ID)
		}
		if says := serviceShut(cfg.File, k.Port); says != "" {
			r.say(false, "port", "%s", says)
		}
	}
}

// outward tells whether broker and relay of the settings let us in; nothing is published and no mail sent.
func (r *checked) outward(ctx context.Context, cfg config.Config) {
	for _, one := range []struct {
		about, address, well string
		try                  func(context.Context, config.Config) error
	}{
		{"mqtt", cfg.MQTT.URL, "the broker lets us in; nothing was published", daemon.TryBroker},
		{"mail", cfg.Notice.Mail.Relay, "the relay lets us in; no mail was sent", daemon.TryRelay},
	} {
		if one.address == "" {
			continue
		}
		if err := one.try(ctx, cfg); err != nil {
			r.say(false, one.about, "%v", err)
		} else {
			r.say(true, one.about, "%s", one.well)
		}
	}
}

// kilnsOfRecord tells of kilns that only the record has, and of those that stand otherwise in the settings:
// by a daemon, or by the store that no daemon has open. Where neither is there it tells nothing.
func (r *checked) kilnsOfRecord(c *cobra.Command, cfg config.Config) {
	cl, err := clientOf(c)
	if err != nil {
		return
	}
	if !c.Flags().Changed("site") {
		if cl.Site, err = siteOf(cfg); err != nil {
			return
		}
	}
	cl.Else = func(context.Context) (http.Handler, error) {
		if !daemon.HasStore(cfg) || daemon.Running(cfg) {
			return nil, nil
		}
		return readStore(c, cfg)
	}
	ctx, cancel := context.WithTimeout(c.Context(), 5*time.Second)
	defer cancel()
	b, err := cl.Get(ctx, "/v1/kilns", nil, "application/json")
	var a wire.Kilns
	if err != nil || decode(b, &a) != nil {
		return
	}
	for _, k := range a.Strays {
		r.say(false, "kiln", "%s", k.Says)
	}
	for _, s := range a.Says {
		r.say(true, "kiln", "%s", s)
	}
}

// lines tells what every line heard, from a running daemon or by listening; deaf reports that one
// of them gave no good reading.
func (r *checked) lines(c *cobra.Command, cfg config.Config, long time.Duration,
	trace func(kiln.Stamp, source.Traced, []byte)) (deaf bool, err error) {
	mine := map[string]bool{} // ports that nobody else holds
	for _, k := range cfg.Kilns {
		if k.Port != "" {
			mine[k.Port] = true
		}
	}
	if len(mine) == 0 {
		return false, nil
	}
	asked, err := running(c, cfg)
	switch {
	case err == nil && !c.Flags().Changed("site") && daemon.NobodyRuns(cfg):
		r.say(false, "daemon", "one that has another store answers at %s: its lines are not told, and run could not start at that address", cfg.Listen.Address)
	case err == nil:
		r.say(true, "daemon", "runs; its last minute is told")
		for _, l := range asked {
			if mine[l.Port] {
				deaf = r.line(l) || deaf
			}
		}
		for _, l := range asked {
			delete(mine, l.Port)
		}
	case daemon.Runs(cfg):
		r.say(false, "daemon", "one is running with this store and does not answer (%v); its lines are left alone", err)
		return true, nil
	case !errors.Is(err, client.ErrNotReachable):
		r.say(false, "daemon", "something at its address answers otherwise: %v", err)
	}
	if len(mine) == 0 {
		return deaf, nil
	}
	if long == 0 {
		long = daemon.LongEnough(cfg)
	}
	fmt.Fprintf(c.ErrOrStderr(), "listening for %.0f s\n", long.Seconds())
	heard, err := daemon.Listen(c.Context(), cfg, long, func(port string) bool { return mine[port] }, trace)
	if err != nil {
		return false, err
	}
	for _, l := range heard {
		deaf = r.line(l.JSON(wallTime)) || deaf
	}
	return deaf, nil
}

func wallTime(at kiln.Stamp) *string {
	text := at.Wall.Local().Format(time.RFC3339)
	return &text
}

// line tells of one kiln's line.
func (r *checked) line(l wire.Line) (deaf bool) {
	r.Lines = append(r.Lines, l)
	for _, s := range l.Sends {
		r.say(true, "sends", "%s, and nothing else", s)
	}
	if len(l.Sends) == 0 {
		r.say(true, "sends", "%s: nothing, it only listens", l.Kiln)
	}
	look := map[string]bool{}
	for _, w := range l.Look {
		look[w.String()] = true
	}
	for _, w := range l.Words {
		r.say(!look[w.String()], "port", "%s", w)
	}
	return l.Good == 0
}

// running asks the daemon of these settings, or of --site, for its lines.
func running(c *cobra.Command, cfg config.Config) ([]wire.Line, error) {
	cl, err := clientOf(c)
	if err != nil {
		return nil, err
	}
	cl.Else = nil // a store knows nothing of lines
	if !c.Flags().Changed("site") {
		if cl.Site, err = siteOf(cfg); err != nil {
			return nil, err
		}
	}
	ctx, cancel := context.WithTimeout(c.Context(), 5*time.Second)
	defer cancel()
	b, err := cl.Get(ctx, "/v1/lines", nil, "application/json")
	if err != nil {
		return nil, err
	}
	var a wire.Lines
	return a.Items, decode(b, &a)
}

// siteOf is where a daemon of these settings answers on this machine.
func siteOf(cfg config.Config) (string, error) {
	host, port, err := net.SplitHostPort(cfg.Listen.Address)
	if err != nil {
		return "", fmt.Errorf("listen.address: %w", err)
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	if cfg.Listen.TLSCert != "" {
		return "https://" + net.JoinHostPort(host, port), nil
	}
	return "http://" + net.JoinHostPort(host, port), nil
}

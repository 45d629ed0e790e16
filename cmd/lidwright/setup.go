package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"lidwright/api/caution"
	"lidwright/config"
	"lidwright/kiln"
	"lidwright/kiln/source"
	"lidwright/tiles"
)

func setupCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "setup",
		Short: "Find the kiln's serial line and write it into the settings, a question at a time",
		Long: `Ask a question at a time, or take the answers from a file; find the serial ports, listen, recognise
speed and form of what is said, show the number in words, and write the kiln into the settings file.

It only listens. Where a controller speaks only when it is asked, the one question that would be sent
(a line that ends in ?, or a reading of Modbus registers) is shown first and sent only after a yes.
Opening a port restarts some boards; only the port that you choose is opened.

A settings file that is there keeps every line; the kiln is added at its end, after a yes. Whatever is
written has passed the same check as at the start of the daemon. The file is that of --config, else
` + installed + ` where there is one, else lidwright.toml here.

Answers in a file are TOML, a line each: the key of the question and its answer. Keys: ` + strings.Join(setupKeys, ", ") + `,
and for the number at each place of the line, as 1 or top: channel_1 (probe, room, vent, other, skip),
unit_1 (c, f, k), type_1 (letter of the couple). What is left out takes the answer in brackets; where
several numbers could be the probe there is none, and channel_1 must say.

` + caution.StandingLine,
		Example: `  lidwright setup
  sudo lidwright setup --config ` + installed + `
  lidwright setup --answers kiln.answers --config lidwright.toml

A file of answers:
  kiln    = "big-blue"
  port    = "/dev/serial/by-id/usb-adapter-if00-port0"
  channel_1 = "probe"
  unit_1  = "c"
  type_1  = "S"
  limit_c = 1290
  write   = true`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			s := &setup{out: c.OutOrStdout(), ports: func() []source.FoundPort {
				return source.Ports(os.DirFS("/dev"))
			}}
			s.file, _ = c.Flags().GetString("config")
			seconds, _ := c.Flags().GetInt("seconds")
			s.patience = time.Duration(seconds) * time.Second
			if seconds < 1 || seconds > 3600 {
				return &exit{exitWrongUse, fmt.Sprintf("--seconds %d: from 1 to 3600", seconds)}
			}
			if s.file == "" {
				s.file = "lidwright.toml"
				if _, err := os.Stat(installed); err == nil {
					s.file = installed
				}
			}
			s.asker = newPerson(c.InOrStdin(), s.out)
			if file, _ := c.Flags().GetString("answers"); file != "" {
				if _, err := os.Stat(file); err != nil {
					return unreadable("--answers", file, err)
				}
				answers, err := config.ReadAnswers(file, knownAnswer, setupKeys)
				if err != nil {
					return err
				}
				for old, now := range config.FormerKeys {
					if a, given := answers[old]; given {
						fmt.Fprintf(s.out, "%s is called %s now and was taken over as that.\n", old, now)
						answers[now] = a
						delete(answers, old)
					}
				}
				s.asker = &sheet{file: file, answers: answers, used: map[string]bool{}, out: s.out}
			}
			return s.run(c.Context())
		},
	}
	c.Flags().String("answers", "", "file with the answers; nothing is asked")
	c.Flags().Int("seconds", 65, "how long a line may say nothing before it counts as silent")
	return c
}

// setupKeys are the questions, in their order.
var setupKeys = []string{"kiln", "port", "listens", "reading", "speed", "framing", "ask", "unit_id",
	"function", "register", "number", "order", "send",
	"limit_c", "keep_shut_above_c", "keep_shut_reason", "site", "units", "write"}

func knownAnswer(key string) bool {
	of, _, cut := strings.Cut(key, "_")
	return slices.Contains(setupKeys, key) || config.FormerKeys[key] != "" ||
		cut && (of == "channel" || of == "unit" || of == "type")
}

// setup is one run through the questions.
type setup struct {
	asker
	file     string // settings to write
	out      io.Writer
	ports    func() []source.FoundPort
	patience time.Duration

	was  string // text of the file, "" if there is none
	has  bool   // there is a file
	old  config.Config
	kiln config.Kiln
}

func (s *setup) say(format string, args ...any) { fmt.Fprintf(s.out, format+"\n", args...) }

func (s *setup) run(ctx context.Context) error {
	s.say("%s\n%s\n", caution.StandingLine, caution.ElectricKilns)
	for _, n := range caution.Wiring {
		s.say("- %s", caution.Text(n))
	}
	s.say("")
	if err := s.read(); err != nil {
		return err
	}
	steps := []func(context.Context) error{s.name, s.port, s.line, s.limits, s.write}
	for _, step := range steps {
		if err := step(ctx); err != nil {
			return err
		}
	}
	return nil
}

// read looks at the settings file that is there.
func (s *setup) read() error {
	b, err := os.ReadFile(s.file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("read the settings: %w", err)
	}
	s.was, s.has = string(b), true
	s.old, err = config.Load(s.file, os.Environ(), nil)
	return err
}

func (s *setup) name(ctx context.Context) error {
	name, err := s.ask(ctx, question{key: "kiln", asks: "Name of the kiln (a-z, 0-9 and -, as big-blue)",
		check: func(text string) error {
			if !config.IsName(text) {
				return fmt.Errorf("%q: 1 to 40 of the signs a-z, 0-9 and -", text)
			}
			for _, k := range s.old.Kilns {
				if string(k.ID) == text {
					return fmt.Errorf("%s has a kiln %s already; take another name, or change it there",
						s.file, text)
				}
			}
			return nil
		}})
	s.kiln = config.DefaultKiln()
	s.kiln.ID = kiln.KilnID(name)
	return err
}

func (s *setup) port(ctx context.Context) error {
	found := s.ports()
	taken := map[string]kiln.KilnID{}
	for _, k := range s.old.Kilns {
		taken[k.Port] = k.ID
	}
	standard := ""
	s.say("\nSerial ports of this machine:")
	for i, p := range found {
		note := ""
		switch {
		case taken[p.Name] != "":
			note = fmt.Sprintf("  (of %s)", taken[p.Name])
		case !p.Lasts:
			note = "  (may be another device after a replug)"
		default:
			standard = first(standard, strconv.Itoa(i+1))
		}
		s.say("  %d  %s  %s%s", i+1, p.Name, p.Device, note)
	}
	if len(found) == 0 {
		s.say("  none. Plug the adapter in and begin again, or give a path.")
	}
	text, err := s.ask(ctx, question{key: "port",
		asks: "Which one: its number, a path, or none for a kiln that is kept by hand", standard: standard,
		check: func(text string) error {
			n, err := strconv.Atoi(text)
			switch {
			case text == "none":
			case err == nil && (n < 1 || n > len(found)):
				return fmt.Errorf("there is no port %d", n)
			case err != nil && !filepath.IsAbs(text):
				return fmt.Errorf("%q: a path begins with /", text)
			}
			return nil
		}})
	if err != nil {
		return err
	}
	if n, err := strconv.Atoi(text); err == nil {
		text = found[n-1].Name
	}
	if text == "none" {
		text = ""
	}
	if of := taken[text]; of != "" && text != "" {
		return fmt.Errorf("%s is the port of %s; several kilns on one port are written by hand, each with select", text, of)
	}
	s.kiln.Port = text
	s.warnOfService(text)
	return nil
}

func (s *setup) warnOfService(port string) {
	if says := serviceShut(s.file, port); says != "" {
		s.say("LOOK  %s.", says)
	}
}

// limits asks what the lines cannot tell.
func (s *setup) limits(ctx context.Context) error {
	degrees := func(key, asks, standard string, least, most float64) (float64, error) {
		var t float64
		_, err := s.ask(ctx, question{key, asks, standard, func(text string) (err error) {
			if t, err = strconv.ParseFloat(text, 64); err != nil || !(t >= least && t <= most) {
				return fmt.Errorf("%q: from %g to %g °C", text, least, most)
			}
			return nil
		}})
		return t, err
	}
	var err error
	if s.kiln.LimitC, err = degrees("limit_c",
		"\nThe highest temperature that the kiln's maker allows, in °C. When it is passed a notice is sent, no more: this program turns nothing off", "", 100, 1850); err != nil {
		return err
	}
	s.say("\n%s", caution.Text(caution.KeepShut))
	if s.kiln.KeepShutAboveC, err = degrees("keep_shut_above_c",
		"Keep the kiln shut above, in °C; 50 unless there is a reason, and never over 200, where hot air and ware burn at once", "50", float64(tiles.KeepShutLeast), float64(tiles.KeepShutMost)); err != nil {
		return err
	}
	if s.kiln.KeepShutAboveC > float64(tiles.KeepShutUsual) {
		s.kiln.KeepShutReason, err = s.ask(ctx, question{key: "keep_shut_reason",
			asks: "Who says so, and why; it is shown beside the temperature"})
	}
	return err
}

package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"lidwright/config"
	"lidwright/daemon"
)

// write puts the kiln into the settings, once they have been tried and somebody said yes.
func (s *setup) write(ctx context.Context) error {
	text := s.was
	if !s.has {
		name, err := s.ask(ctx, question{key: "site", asks: "Name of the studio", standard: "studio"})
		if err != nil {
			return err
		}
		units, err := s.ask(ctx, question{key: "units", asks: "Lengths in mm, cm, in or 32nds",
			standard: "mm", check: oneOf("mm", "cm", "in", "32nds")})
		if err != nil {
			return err
		}
		text = "# Written by `lidwright setup`. Every key with its default stands in example.toml.\n[site]\nname = " + config.Quote(name) + "\n\n[units]\nlength = " + config.Quote(units) + "\n"
	}
	if text != "" && !strings.HasSuffix(text, "\n") {
		text += "\n"
	}
	draft := s.kiln.Draft()
	text += "\n" + draft
	cfg, err := config.LoadText(s.file, text, os.Environ())
	if err != nil {
		return err
	}
	later := []string{"write"}
	if s.sends() {
		later = append(later, "send")
	}
	if err := s.left(later...); err != nil {
		return err
	}
	s.say("\n%s", draft)
	heard, err := s.try(ctx, cfg)
	if err != nil {
		return err
	}
	standard, asks := "yes", "Write this to the new file "+s.file
	if s.has {
		standard, asks = "no", "Add this to the end of "+s.file+"; what stands there stays as it is"
	}
	if !heard {
		standard = "no"
	}
	if ok, err := s.yes(ctx, "write", asks, standard); err != nil || !ok {
		if err == nil {
			s.say("Nothing was written.")
		}
		return err
	}
	if err := s.replace(text); err != nil {
		return err
	}
	s.say("\nWritten. `lidwright check --config %s` tells at any time what is received; a daemon that runs must be started again to see it.", s.file)
	return nil
}

func (s *setup) sends() bool { return s.kiln.Reply == "modbus" || len(s.kiln.PollBytes) > 0 }

// try listens once with the settings as they will be, in the words of the check. Where something is
// to be sent it asks first.
func (s *setup) try(ctx context.Context, cfg config.Config) (heard bool, err error) {
	if s.kiln.Port == "" {
		return true, nil
	}
	if s.sends() {
		what := fmt.Sprintf("the words %q", s.kiln.PollBytes)
		if s.kiln.Reply == "modbus" {
			c := s.kiln.Channels[0]
			what = fmt.Sprintf("a reading of register %d (function %02d) to number %d",
				c.Register, c.Function, c.UnitID)
		}
		send, err := s.yes(ctx, "send", fmt.Sprintf("To try it, %s will be sent every %v, and nothing else. Does the manual of the controller allow it", what, s.kiln.Every), "no")
		if err != nil || !send {
			return false, err
		}
	}
	long := daemon.LongEnough(config.Config{Kilns: []config.Kiln{s.kiln}})
	s.say("listening for %.0f s with these settings ...", long.Seconds())
	lines, err := daemon.Listen(ctx, cfg, long, func(port string) bool { return port == s.kiln.Port }, nil)
	if err != nil {
		return false, err
	}
	r := checked{}
	for _, l := range lines {
		heard = !r.line(l.JSON(wallTime)) || heard
	}
	r.print(s.out)
	return heard, nil
}

// replace writes the settings beside the old ones and moves them over, so that no half file is ever
// there. A link is followed; rights and owner stay.
func (s *setup) replace(text string) (err error) {
	path := s.file
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), ".lidwright-*.toml")
	if err != nil {
		return fmt.Errorf("write the settings: %w", err)
	}
	defer os.Remove(tmp.Name())
	_, err = tmp.WriteString(text)
	err = errors.Join(err, likeBefore(tmp, path), tmp.Sync(), tmp.Close())
	if err == nil {
		err = s.unchanged()
	}
	if err == nil && s.has {
		err = os.Rename(tmp.Name(), path)
	} else if err == nil {
		err = os.Link(tmp.Name(), path) // fails where a file has come meanwhile
	}
	if err != nil {
		return fmt.Errorf("write the settings: %w", err)
	}
	return nil
}

// unchanged holds the file against what was read of it.
func (s *setup) unchanged() error {
	b, err := os.ReadFile(s.file)
	if errors.Is(err, fs.ErrNotExist) && !s.has {
		return nil
	}
	if err == nil && (!s.has || string(b) != s.was) {
		err = fmt.Errorf("%s was changed meanwhile; begin again", s.file)
	}
	return err
}

// likeBefore gives a new file the rights and the owner of the one that it replaces; a new settings
// file can be read by all, since secrets lie elsewhere.
func likeBefore(f *os.File, path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return f.Chmod(0o644)
	}
	if st, ok := info.Sys().(*syscall.Stat_t); ok && os.Geteuid() == 0 {
		if err := f.Chown(int(st.Uid), int(st.Gid)); err != nil {
			return err
		}
	}
	return f.Chmod(info.Mode().Perm())
}

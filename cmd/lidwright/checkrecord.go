package main

import (
	"bufio"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"lidwright/config"
	"lidwright/daemon"
	"lidwright/kiln"
	"lidwright/kiln/practice"
	"lidwright/kiln/source"
)

// recorder keeps what passes on a line in a file as practice --replay plays it.
type recorder struct {
	file  *os.File
	text  *bufio.Writer
	began kiln.Stamp
	n     int
	err   error
}

// newRecorder makes the file, which must not be there, with the settings of the line in front: a name of this
// machine's device is of no use elsewhere and is left out.
func newRecorder(c *cobra.Command, cfg config.Config) (*recorder, error) {
	name, _ := c.Flags().GetString("record")
	if name == "" {
		return nil, nil
	}
	var port string
	for _, k := range cfg.Kilns {
		switch {
		case k.Port == "" || k.Port == port:
		case port != "":
			return nil, misused(errors.New("--record keeps one line and the settings have several: name the kiln, as in lidwright check big-blue --record line.txt"))
		default:
			port = k.Port
		}
	}
	switch {
	case port == "":
		return nil, misused(errors.New("--record: there is no line in the settings to record"))
	case !daemon.NobodyRuns(cfg):
		return nil, &exit{exitFailed, "a daemon has this line open, or may have; stop it first (sudo systemctl stop lidwright), record, then start it again"}
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return nil, misused(fmt.Errorf("--record: %s is there already; take another name", name))
	}
	if err != nil {
		return nil, unreadable("--record", name, err)
	}
	r := &recorder{file: f, text: bufio.NewWriter(f)}
	r.line("# A serial line as it came, by lidwright " + version + ": seconds, what happened, its bytes.")
	r.line("# lidwright practice --replay FILE plays it.")
	for _, k := range cfg.Kilns {
		if k.Port != port {
			continue
		}
		k.Port = "recorded" // the name of an adapter may hold its serial number
		for text := range strings.Lines(k.Draft()) {
			r.line(strings.TrimRight("# "+text, "\n "))
		}
		r.line("#")
	}
	return r, nil
}

func (r *recorder) line(text string) {
	if _, err := fmt.Fprintln(r.text, text); err != nil && r.err == nil {
		r.err = err
	}
}

// happened is called for each event of the line.
func (r *recorder) happened(at kiln.Stamp, what source.Traced, b []byte) {
	if r.began == (kiln.Stamp{}) {
		r.began = at
	}
	e := practice.LineEvent{After: max(0, at.Since-r.began.Since), Bytes: slices.Clone(b)}
	e.What = map[source.Traced]string{source.TracedOpened: practice.Opened, source.TracedGone: practice.Gone,
		source.TracedReceived: practice.Received, source.TracedSent: practice.Sent}[what]
	r.n += len(b)
	r.line(e.String())
}

// close writes what is left, and says what was kept.
func (r *recorder) close(c *checked) error {
	err := errors.Join(r.err, r.text.Flush(), r.file.Close())
	if err != nil {
		return fmt.Errorf("--record: %w", err)
	}
	c.say(r.n > 0, "record", "%s holds %d bytes with their times and these kilns' settings; look it through before you send it to anybody", r.file.Name(), r.n)
	return nil
}

// replayed are the settings that stand in front of a recording, for a line that is played at link.
func replayed(r practice.Recording, link, folder, address string) (string, error) {
	var kilns []string
	for i, text := range r.About {
		if strings.HasPrefix(text, "[kiln.") {
			kilns = r.About[i:]
			break
		}
	}
	if kilns == nil {
		return "", errors.New("no settings of a kiln stand in front of the recording: [kiln.NAME] and what belongs to it, after #")
	}
	text := fmt.Sprintf("# A recorded line that is played.\n[site]\nname = \"recorded line\"\n\n[store]\nfolder = %s\n\n[listen]\naddress = %s\n\n",
		config.Quote(folder), config.Quote(address))
	for _, line := range kilns {
		if strings.HasPrefix(line, "port = ") {
			line = "port = " + config.Quote(link)
		}
		text += line + "\n"
	}
	return text, nil
}

// readRecording reads the file of --replay.
func readRecording(name string) (practice.Recording, error) {
	f, err := os.Open(name)
	if err != nil {
		return practice.Recording{}, unreadable("--replay", name, err)
	}
	defer f.Close()
	r, err := practice.ReadRecording(f)
	if err != nil {
		return r, misused(fmt.Errorf("--replay: %s: %w", name, err))
	}
	return r, nil
}

// lasts is how long a recording is, in words.
func lasts(r practice.Recording) string {
	d := r.Events[len(r.Events)-1].After - r.Events[0].After
	return d.Round(time.Second).String()
}

package practice

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

// Recording is all that passed on a serial line for a while, in both directions, byte for byte. As text it
// is a line an event, after lines of # that say how the line was set:
//
//	0.000 opened
//	1.204 received "850.5,21.0\r\n"
//	3.000 sent "\x07\x03\x00\x10\x00\x02..."
//	9.310 gone
//
// The number is the age in seconds; bytes stand in quotes as Go and C write them.
type Recording struct {
	About  []string    // the lines of # without it
	Events []LineEvent // in order of age

	// Factor is how many seconds of the recording pass in one of ours; 0 means 1.
	Factor float64
}

// LineEvent is one thing that happened on the line.
type LineEvent struct {
	After time.Duration // since the recording began
	What  string        // opened, gone, received or sent, seen from the program that recorded
	Bytes []byte        // of received and sent
}

// What happened.
const (
	Opened   = "opened"
	Gone     = "gone"
	Received = "received"
	Sent     = "sent"
)

// String is the event as it stands in a file, without the end of the line.
func (e LineEvent) String() string {
	text := fmt.Sprintf("%.3f %s", e.After.Seconds(), e.What)
	if e.What == Received || e.What == Sent {
		text += " " + strconv.QuoteToASCII(string(e.Bytes))
	}
	return text
}

// readBefore is how long a listener has to read what came last before the line goes: what it did not read is
// lost.
const readBefore = 200 * time.Millisecond

// longestRecording is how much text of a recording is read: a day of a fast line.
const longestRecording = 64 << 20

// ReadRecording reads a recording; the error names the line that is none.
func ReadRecording(r io.Reader) (Recording, error) {
	var out Recording
	lines := bufio.NewScanner(io.LimitReader(r, longestRecording+1))
	lines.Buffer(nil, 1<<16)
	for n := 1; lines.Scan(); n++ {
		text := strings.TrimRight(lines.Text(), "\r")
		if about, is := strings.CutPrefix(text, "#"); is {
			out.About = append(out.About, strings.TrimPrefix(about, " "))
			continue
		}
		if strings.TrimSpace(text) == "" {
			continue
		}
		e, err := parseEvent(text)
		if err == nil && len(out.Events) > 0 && e.After < out.Events[len(out.Events)-1].After {
			err = errors.New("it is earlier than the one before")
		}
		if err != nil {
			return Recording{}, fmt.Errorf("line %d of the recording: %w", n, err)
		}
		out.Events = append(out.Events, e)
	}
	if err := lines.Err(); err != nil {
		return Recording{}, fmt.Errorf("the recording cannot be read: %w", err)
	}
	if len(out.Events) == 0 {
		return Recording{}, errors.New("nothing is recorded in it")
	}
	return out, nil
}

// parseEvent reads one line; the error says what of it is no event.
func parseEvent(text string) (LineEvent, error) {
	age, rest, _ := strings.Cut(text, " ")
	what, quoted, has := strings.Cut(rest, " ")
	seconds, err := strconv.ParseFloat(age, 64)
	if err != nil || !(seconds >= 0 && seconds < 1e7) {
		return LineEvent{}, fmt.Errorf("%.40q does not begin with an age in seconds", text)
	}
	e := LineEvent{After: time.Duration(seconds * float64(time.Second)).Round(time.Millisecond), What: what}
	switch {
	case (what == Opened || what == Gone) && !has:
		return e, nil
	case what != Received && what != Sent:
		return LineEvent{}, fmt.Errorf("%.40q: an event is opened, gone, received or sent", text)
	}
	b, err := strconv.Unquote(quoted)
	if err != nil || quoted[0] != '"' {
		return LineEvent{}, fmt.Errorf("%.40q: its bytes do not stand in quotes", text)
	}
	e.Bytes = []byte(b)
	return e, nil
}

// Play plays the line down the plug as it was: what was received comes at its age, after what was sent has
// been asked for again; where the port went away it is unplugged. It begins when somebody listens, and ends
// with the recording or ctx's error. What is asked otherwise than it was is not answered.
func (r Recording) Play(ctx context.Context, plug *Plug) error {
	factor := r.Factor
	if factor <= 0 {
		factor = 1
	}
	if err := plug.Plug(); err != nil {
		return err
	}
	if err := listened(ctx, plug); err != nil {
		return err
	}
	// ages run from the first event, and anew from each question and each return of the port
	began, from := time.Now(), time.Duration(0)
	if len(r.Events) > 0 {
		from = r.Events[0].After
	}
	until := func(age time.Duration) error {
		return Wait(ctx, time.Until(began.Add(time.Duration(float64(age-from)/factor))))
	}
	gone := false
	for i := 0; i < len(r.Events); i++ {
		e := r.Events[i]
		// what was asked then must be asked again before its answer comes
		if e.What == Sent {
			at, err := r.asked(ctx, plug, i)
			if err != nil {
				return err
			}
			i, began, from = at, time.Now(), r.Events[at].After
			continue
		}
		if err := until(e.After); err != nil {
			return err
		}
		switch e.What {
		case Received:
			plug.Write(e.Bytes)
		case Gone:
			gone = true
			if err := errors.Join(Wait(ctx, readBefore), plug.Unplug()); err != nil {
				return err
			}
		case Opened:
			if !gone {
				continue
			}
			if err := errors.Join(plug.Plug(), listened(ctx, plug)); err != nil {
				return err
			}
			began, from, gone = time.Now(), e.After, false
		}
	}
	return nil
}

// listened waits until somebody holds the other end.
func listened(ctx context.Context, plug *Plug) error {
	for line := plug.Line(); line != nil && !line.Listened(); {
		if err := Wait(ctx, 20*time.Millisecond); err != nil {
			return err
		}
	}
	return nil
}

// asked waits for a question of the recording, the one at event i or a later one, and gives its place.
func (r Recording) asked(ctx context.Context, plug *Plug, i int) (int, error) {
	var heard []byte
	buf := make([]byte, 256)
	for {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		line := plug.Line()
		line.SetReadDeadline(time.Now().Add(20 * time.Millisecond))
		n, err := line.Read(buf)
		if n == 0 {
			heard = heard[:0] // a question comes in one piece
			if err != nil {
				if err := Wait(ctx, time.Millisecond); err != nil {
					return 0, err
				}
			}
			continue
		}
		heard = append(heard, buf[:n]...)
		for at := i; at < len(r.Events); at++ {
			if r.Events[at].What == Sent && bytes.HasPrefix(heard, r.Events[at].Bytes) {
				return at, nil
			}
		}
	}
}

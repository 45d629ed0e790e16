package source

import (
	"context"
	"errors"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// staleAfter is how long a begun line may pause before it is dropped.
const staleAfter = 2 * time.Second

// quietFor is after how long without a line one is counted as missing, at least; slow lines are
// given three periods.
const quietFor = 10 * time.Second

// patience is how long one look at a line waits that speaks unasked, once it is known where its lines
// begin: each look that ends in nothing costs as much as a reading.
const patience = time.Second

// listen reads lines that come unasked.
func (l *line) listen(ctx context.Context) error {
	decoders := l.decoders
	cut := newLineSplitter(l.settings.Kilns[0].Terminator)
	var pause, quiet time.Duration
	look := readTimeout
	due := l.quiet()
	buf := make([]byte, 1024)
	ears := baudDetector{lookAt: earful}
	_, recorded := l.port.(*played) // its lines come at once, and each has a moment of its own
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		// short looks only until it is known where a line begins
		if !cut.blind && look < patience {
			if err := l.port.SetReadTimeout(patience); err != nil {
				return err
			}
			look = patience
		}
		n, err := l.read(buf)
		if err != nil {
			return err
		}
		// silence: a line that was begun is dropped, and after long enough one is missed
		if n == 0 {
			cut.fresh()
			if pause += look; pause >= staleAfter && cut.stale() {
				l.garbled(decoders, l.Now(), nil, message.New("began and did not end"))
			}
			if quiet += look; quiet >= due {
				quiet = 0
				for _, t := range decoders {
					t.tally.count(l.Now(), LineSilent)
				}
			}
			continue
		}
		pause = 0
		var came kiln.Stamp
		if !recorded {
			came = l.Now() // all of them: a busy machine reads at once what waited
		}
		ears.hear(buf[:n])
		cut.cut(buf[:n], func(line []byte) {
			quiet = 0
			if err == nil {
				if recorded {
					came = l.Now()
				}
				err = l.take(ctx, decoders, came, line)
			}
			if err == nil && l.settings.played() { // a recording goes at the pace of the settings
				err = l.Sleep(ctx, l.settings.Kilns[0].Every)
			}
		})
		l.guessSpeed(&ears, decoders)
		if err != nil {
			return err
		}
	}
}

// quiet is how long no line must come before one is counted as missing.
func (l *line) quiet() time.Duration {
	longest := quietFor
	for _, k := range l.settings.Kilns {
		longest = max(longest, 3*k.Every)
	}
	return longest
}

// take gives a line that came at a moment to the kiln that it belongs to.
func (l *line) take(ctx context.Context, decoders []*decoder, at kiln.Stamp, line []byte) error {
	if line == nil {
		l.garbled(decoders, at, nil, message.Of(errBroken))
		return nil
	}
	for _, t := range decoders {
		s, err := t.form.read(string(line))
		switch {
		case errors.Is(err, errForeign):
			continue
		case errors.Is(err, errHeader):
			return nil
		case err != nil && len(decoders) > 1 && t.kiln.Select == "":
			continue
		case err != nil:
			t.garbled(at, line, message.Of(err))
			return nil
		}
		return l.tell(ctx, t, at, s, line)
	}
	l.garbled(decoders, at, line, message.New("begins with no kiln's word"))
	return nil
}

// garbled counts a line that no kiln can be held to: for all of them.
func (l *line) garbled(decoders []*decoder, at kiln.Stamp, line []byte, why message.Message) {
	for _, t := range decoders {
		t.garbled(at, line, why)
	}
}

package source

import (
	"context"
	"errors"
	"time"

	"lidwright/kiln/message"
)

// answerWithin is how long the answer to a poll string may take.
const answerWithin = time.Second

// errSilent says that no answer came in time.
var errSilent = message.NewError("no answer in time")

// monotonic is how long ago begin was by the machine's own clock, for time-outs and turns alone:
// what is recorded is stamped by Now.
func monotonic(begin time.Time) time.Duration { return time.Since(begin) }

// pollSchedule keeps whose turn it is on a line where several kilns are asked.
type pollSchedule struct {
	begin time.Time
	due   []time.Duration
}

// newPollSchedule begins with every kiln due now.
func newPollSchedule(kilns []Kiln) *pollSchedule {
	return &pollSchedule{begin: time.Now(), due: make([]time.Duration, len(kilns))}
}

// next is the kiln whose turn comes first, and how long until then.
func (r *pollSchedule) next() (i int, wait time.Duration) {
	for k, due := range r.due {
		if due < r.due[i] {
			i = k
		}
	}
	return i, max(0, r.due[i]-monotonic(r.begin))
}

// done sets kiln i's next turn a period after this one; turns that were missed are left out.
func (r *pollSchedule) done(i int, every time.Duration) {
	now := monotonic(r.begin)
	r.due[i] += every
	if late := now - r.due[i]; late > 0 {
		r.due[i] += (late/every + 1) * every
	}
}

// ask reads kilns that answer poll strings, each at its period.
func (l *line) ask(ctx context.Context) error {
	decoders := l.decoders
	if err := l.Sleep(ctx, settle); err != nil {
		return err
	}
	turns := newPollSchedule(l.settings.Kilns)
	for {
		i, wait := turns.next()
		if err := l.Sleep(ctx, wait); err != nil {
			return err
		}
		if err := l.round(ctx, decoders[i]); err != nil {
			return err
		}
		turns.done(i, decoders[i].kiln.Every)
	}
}

// round asks one kiln all its questions and makes one sample of the answers. Columns count on from
// one answer to the next; so if one is missing, the columns after it are not known, and the round
// ends there. Where values have names the others are still good.
func (l *line) round(ctx context.Context, t *decoder) error {
	var all said
	var last []byte
	for _, poll := range t.kiln.Poll {
		if err := l.port.ResetInputBuffer(); err != nil {
			return err
		}
		if err := l.guard.send([]byte(poll + t.kiln.Terminator)); err != nil {
			return err
		}
		s, line, err := l.answer(ctx, t, poll)
		var trouble *answerError
		switch {
		case errors.As(err, &trouble):
			t.tally.badLine(l.Now(), trouble.line, message.Of(trouble.why))
		case errors.Is(err, errSilent):
			t.tally.count(l.Now(), LineSilent)
			if err := l.hush(ctx); err != nil {
				return err
			}
		case err != nil:
			return err
		default:
			all, last = all.and(s), line
			continue
		}
		if t.kiln.columned() {
			return nil
		}
	}
	if all.columns == nil && len(all.names) == 0 {
		return nil
	}
	return l.tell(ctx, t, l.Now(), all, last)
}

// errBroken is what a line splitter that gives no line says of it.
var errBroken = message.NewError("too long, or holds a NUL as broken bytes do")

// answerError is an answer that made no sense.
type answerError struct {
	line []byte
	why  error
}

// Error is why the line made no sense.
func (e *answerError) Error() string { return e.why.Error() }

// answer reads lines until one makes sense as the answer to poll, or the time is up. Local echo,
// headers and the lines of other kilns are passed over.
func (l *line) answer(ctx context.Context, t *decoder, poll string) (said, []byte, error) {
	cut := newLineSplitter(t.kiln.Terminator)
	cut.fresh()
	var bad *answerError
	var found said
	var whole []byte
	buf := make([]byte, maxLine)
	for begin := time.Now(); monotonic(begin) < answerWithin; {
		if err := ctx.Err(); err != nil {
			return said{}, nil, err
		}
		n, err := l.read(buf)
		if err != nil {
			return said{}, nil, err
		}
		cut.cut(buf[:n], func(line []byte) {
			if whole != nil || string(line) == poll {
				return
			}
			if line == nil {
				bad = &answerError{nil, errBroken}
				return
			}
			s, err := t.form.read(string(line))
			switch {
			case errors.Is(err, errHeader) || errors.Is(err, errForeign):
			case err != nil:
				bad = &answerError{append([]byte(nil), line...), err}
			default:
				found, whole = s, append([]byte(nil), line...)
			}
		})
		if whole != nil {
			return found, whole, nil
		}
		if bad != nil {
			return said{}, nil, bad
		}
	}
	return said{}, nil, errSilent
}

// hush waits out an answer that comes too late, so that it is not taken for that to the next question.
func (l *line) hush(ctx context.Context) error {
	buf := make([]byte, maxLine)
	for begin := time.Now(); monotonic(begin) < lateBy; {
		if err := ctx.Err(); err != nil {
			return err
		}
		if _, err := l.read(buf); err != nil {
			return err
		}
	}
	return nil
}

package source

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"strings"
	"time"

	"lidwright/kiln/message"
)

const (
	slaveWithin = 500 * time.Millisecond // how long a slave may take to answer
	// how long an answer may pause; a USB adapter holds bytes for some 16 ms (from memory)
	restWithin = 100 * time.Millisecond
	tries      = 3                      // of one question in one round
	busyPause  = 100 * time.Millisecond // before a busy slave is asked again
)

// gap is the silence that must lie between two frames: 3.5 characters, and a fixed 1.750 ms above
// 19,200 baud. Source: Modbus over Serial Line V1.02, section 2.5.1.1 (read second hand). A
// character is taken as 11 bits, as the standard has it.
func gap(speed int) time.Duration {
	if speed > 19200 || speed <= 0 {
		return 1750 * time.Microsecond
	}
	return time.Duration(3.5 * 11 / float64(speed) * float64(time.Second))
}

// lateBy is how much later than that an answer may come and do no harm. An answer does not say
// which registers it holds, so a late one must not meet the next question: a slave that did not
// answer is asked nothing for so long.
const lateBy = 3 * time.Second

// errOwing says that a slave was not asked because an answer of its may still be on the way.
var errOwing = message.NewError("not asked: its last answer may still be on the way")

// modbusClient is what is known of the slaves on one line.
type modbusClient struct {
	*line
	lateReplies map[int]time.Time // slaves that did not answer, and since when
}

// askModbus reads Modbus slaves, each kiln at its period, one question at a time.
func (l *line) askModbus(ctx context.Context) error {
	decoders := l.decoders
	b := &modbusClient{line: l, lateReplies: map[int]time.Time{}}
	plans := make([][]reading, len(decoders))
	for i, t := range decoders {
		plans[i] = plan(t.kiln)
	}
	if err := l.Sleep(ctx, settle); err != nil {
		return err
	}
	turns := newPollSchedule(l.settings.Kilns)
	for {
		i, wait := turns.next()
		if err := l.Sleep(ctx, wait); err != nil {
			return err
		}
		next, err := b.round(ctx, decoders[i], plans[i])
		plans[i] = next
		if err != nil {
			return err
		}
		turns.done(i, decoders[i].kiln.Every)
	}
}

// round asks for all registers of one kiln and makes one sample of what was answered. A slave that
// refuses several registers at once is asked for each on its own from then on.
func (b *modbusClient) round(ctx context.Context, t *decoder, readings []reading) ([]reading, error) {
	raws := make([]raw, len(t.kiln.Channels))
	var orders []Decoded
	var next []reading
	var heard []string
	any := false
	for _, r := range readings {
		// each request by itself: what one slave does not answer leaves the others their values
		words, frame, err := b.question(ctx, t, r.request)
		var refusal exception
		switch {
		case err == nil:
			any = true
			heard = append(heard, hex.EncodeToString(frame))
			for _, i := range r.channels {
				c := t.kiln.Channels[i]
				raws[i] = r.raw(c, words)
				if c.words() == 2 {
					orders = append(orders, r.decoded(c, words))
				}
			}
		case errors.As(err, &refusal) && (refusal == 2 || refusal == 3) && len(r.channels) > 1:
			next = append(next, r.apart(t.kiln)...)
			continue
		case isGone(err):
			return readings, err
		}
		next = append(next, r)
	}
	if !any {
		return next, nil
	}
	t.tally.decoded(orders)
	return next, b.finish(ctx, t, b.Now(), raws, []byte(strings.Join(heard, " ")))
}

// goneError is trouble with the port or the end of ctx, not with an answer.
type goneError struct{ error }

// Unwrap is the trouble itself.
func (e goneError) Unwrap() error { return e.error }

// isGone reports whether err is trouble with the port or the end of ctx.
func isGone(err error) bool {
	var gone goneError
	return errors.As(err, &gone)
}

// question asks until there is a good answer, a refusal that stays, or the tries are used up. Each
// failure is counted for the kiln.
func (b *modbusClient) question(ctx context.Context, t *decoder, r request) (words []uint16, heard []byte,
	err error) {
	var last error
	for range tries {
		words, heard, err := b.exchange(ctx, r)
		if err == nil {
			return words, heard, nil
		}
		if isGone(err) {
			return nil, nil, err
		}
		last = message.WrapError(err, "{1}: {2}", r.Says(), message.Of(err))
		var refusal exception
		switch {
		case errors.As(err, &refusal):
			t.tally.badLine(b.Now(), heard, message.Of(last))
			if !refusal.passing() {
				return nil, nil, last
			}
			if err := b.Sleep(ctx, busyPause); err != nil {
				return nil, nil, goneError{err}
			}
		case errors.Is(err, errOwing):
			return nil, nil, last
		case errors.Is(err, errSilent):
			t.tally.count(b.Now(), LineSilent)
			return nil, nil, last
		default:
			t.tally.badLine(b.Now(), heard, message.Of(last))
		}
	}
	return nil, nil, last
}

// exchange sends one question and reads its answer. What came before the question is dropped, and
// what comes with a wrong answer too.
func (b *modbusClient) exchange(ctx context.Context, r request) (words []uint16, heard []byte, err error) {
	// a late answer would be taken for that to this question
	if since, ok := b.lateReplies[r.unit]; ok {
		if monotonic(since) < slaveWithin+lateBy {
			return nil, nil, errOwing
		}
		delete(b.lateReplies, r.unit)
	}
	if err := b.clear(ctx); err != nil {
		return nil, nil, err
	}
	asked := time.Now()
	if err := b.guard.send(r.frame()); err != nil {
		return nil, nil, goneError{err}
	}
	heard, err = b.collect(ctx, r, slaveWithin)
	if errors.Is(err, errSilent) || errors.Is(err, errEcho) {
		b.lateReplies[r.unit] = asked
	}
	if err != nil {
		return nil, heard, err
	}
	words, err = r.parse(b.withoutEcho(r, heard))
	var refusal exception
	if err != nil && !errors.As(err, &refusal) {
		if gone := b.drain(ctx); gone != nil {
			return nil, heard, gone
		}
	}
	return words, heard, err
}

// withoutEcho cuts our own question from the front of what was heard, where the line gives it back.
func (b *modbusClient) withoutEcho(r request, heard []byte) []byte {
	if _, err := r.parse(heard); err != nil && bytes.HasPrefix(heard, r.frame()) {
		return heard[len(r.frame()):]
	}
	return heard
}

// collect reads until the expected length of the answer is there, or an exception, or the time is
// up. It gives what was heard, which may be too short; errSilent for nothing, errEcho for our own
// question and no more.
func (b *modbusClient) collect(ctx context.Context, r request, within time.Duration) ([]byte, error) {
	var heard []byte
	var buf [maxFrame]byte
	defer b.port.SetReadTimeout(readTimeout)
	for begin := time.Now(); ; {
		// until the time is up, or the rest pauses for too long
		left := within - monotonic(begin)
		if left <= 0 {
			break
		}
		if err := ctx.Err(); err != nil {
			return nil, goneError{err}
		}
		wait := min(left, readTimeout)
		if len(heard) > 0 {
			wait = min(left, restWithin)
		}
		if err := b.port.SetReadTimeout(wait); err != nil {
			return nil, goneError{err}
		}
		n, err := b.read(buf[:])
		if err != nil {
			return nil, goneError{err}
		}
		if n == 0 && len(heard) > 0 && !bytes.Equal(heard, r.frame()) {
			break // begun and not gone on with: the rest was lost
		}
		heard = append(heard, buf[:n]...)
		answer := b.withoutEcho(r, heard)
		if len(answer) >= r.answerLength() || len(heard) >= maxFrame {
			break
		}
		if len(answer) >= 5 && answer[1] == byte(r.function)|0x80 {
			break
		}
	}
	switch {
	case len(heard) == 0:
		return nil, errSilent
	case bytes.Equal(heard, r.frame()):
		return heard, errEcho
	}
	return heard, nil
}

// clear waits out the silence between two frames and drops what came meanwhile.
func (b *modbusClient) clear(ctx context.Context) error {
	if err := b.Sleep(ctx, gap(b.settings.Speed)); err != nil {
		return goneError{err}
	}
	if err := b.port.ResetInputBuffer(); err != nil {
		return goneError{err}
	}
	return nil
}

// drain drops what comes until the line is silent for 50 ms, at most for a second.
func (b *modbusClient) drain(ctx context.Context) error {
	const hush = 50 * time.Millisecond
	defer b.port.SetReadTimeout(readTimeout)
	if err := b.port.SetReadTimeout(hush); err != nil {
		return goneError{err}
	}
	var buf [maxFrame]byte
	for begin := time.Now(); monotonic(begin) < time.Second; {
		if err := ctx.Err(); err != nil {
			return goneError{err}
		}
		n, err := b.read(buf[:])
		if err != nil {
			return goneError{err}
		}
		if n == 0 {
			return nil
		}
	}
	return nil
}

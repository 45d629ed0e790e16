package source

import (
	"context"
	"math"
	"strconv"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// decoder turns the lines of one kiln into samples.
type decoder struct {
	kiln  Kiln
	form  *form
	conv  *converter
	clock deviceClock
	tally *tally
	last  kiln.Stamp    // of the last line that made sense
	spare time.Duration // what is left of the time that samples may take; see room
	any   bool
	bad   int   // lines in a row that made no sense
	asked []raw // the first line after such a row, until the next one says about the same
}

// After so many lines in a row that made no sense one that does is believed only when the next one
// says the same within sameAs: garbage without a checksum looks like a number now and then. Own choice.
const (
	muchGarbage = 3
	sameAs      = 10 // of the channel's own unit
)

// garbled counts a line that made no sense.
func (t *decoder) garbled(at kiln.Stamp, line []byte, why message.Message) {
	t.bad++
	t.asked = nil
	t.tally.badLine(at, line, why)
}

// asksAgain reports whether a line that makes sense must be said once more before it is believed.
func (t *decoder) asksAgain(raws []raw) bool {
	if t.bad < muchGarbage || t.kiln.Checksum != "" && t.kiln.Checksum != "none" {
		t.bad, t.asked = 0, nil
		return false
	}
	same := len(t.asked) == len(raws)
	for i := range raws {
		if !same || t.kiln.Channels[i].Role != kiln.RoleProbe {
			continue
		}
		a, b := t.asked[i], raws[i]
		same = a.there == b.there && a.fault == b.fault && !(math.Abs(a.number-b.number) > sameAs)
	}
	if same {
		t.bad, t.asked = 0, nil
		return false
	}
	t.asked = append([]raw(nil), raws...)
	return true
}

// tell makes a sample of what was said at that moment and sends it.
func (l *line) tell(ctx context.Context, t *decoder, at kiln.Stamp, s said, line []byte) error {
	raws, hint, err := t.raws(s)
	if err != nil {
		t.garbled(at, line, message.Of(err))
		return nil
	}
	if err := t.form.usual(len(s.columns)); err != nil {
		t.garbled(at, line, message.Of(err))
		return nil
	}
	t.tally.say(hint)
	if !hint.IsZero() && t.cutNumber(s.columns) {
		t.tally.badLine(at, line, hint)
		return nil
	}
	if t.asksAgain(raws) {
		t.tally.badLine(at, line, message.New("the first line after many that made no sense: not believed before the next one says the same"))
		return nil
	}
	t.tally.places(at, t.kiln.Channels, raws, line)
	if t.kiln.TimeColumn != "" {
		text, _ := s.text(t.kiln.TimeColumn)
		if at, err = t.clock.stamp(at, text); err != nil {
			t.garbled(at, line, message.Of(err))
			return nil
		}
	}
	return l.finish(ctx, t, at, raws, line)
}

// finish turns raw numbers into a sample, counts it and sends it.
func (l *line) finish(ctx context.Context, t *decoder, at kiln.Stamp, raws []raw, line []byte) error {
	if !t.kiln.asked() && !t.room(at) {
		t.tally.crowd()
		return nil
	}
	sample := kiln.Sample{Kiln: t.kiln.ID, At: at, Values: t.conv.values(at, raws)}
	outcome, good := LineGood, false
	for _, v := range sample.Values {
		if v.Fault == kiln.Break {
			outcome = LineBreakvalue
		}
		if v.Fault != kiln.Good {
			sample.Raw = string(line)
		}
		good = good || v.Fault == kiln.Good
	}
	t.tally.count(at, outcome)
	if good {
		t.tally.good(sample)
	}
	return l.send(ctx, sample)
}

// heldUp is how many periods of lines may come at once: those that waited while nobody read.
const heldUp = 60

// room reports whether another sample is wanted at a moment. A flood is thinned: no kiln is so fast that
// it is needed oftener than twice a period in the mean. A sample takes half a period of the time that
// went by; what is not taken is left for lines that come close together, of jitter or held up.
func (t *decoder) room(at kiln.Stamp) bool {
	gap, known := at.Sub(t.last)
	if t.spare = min(t.spare+gap, heldUp*t.kiln.Every); !t.any || !known {
		t.spare = 2 * t.kiln.Every
	}
	t.last, t.any = at, true
	if t.spare < t.kiln.Every/2 {
		return false
	}
	t.spare -= t.kiln.Every / 2
	return true
}

// raws finds each channel in what was said. An error says that the line makes no sense: a channel
// that is no number, or none of them there. The hint is about decimal commas.
func (t *decoder) raws(s said) (raws []raw, hint message.Message, err error) {
	raws = make([]raw, len(t.kiln.Channels))
	any := false
	for i, c := range t.kiln.Channels {
		text, ok := s.text(c.From)
		if !ok && t.kiln.columned() {
			return nil, hint, message.NewError("no column for channel {1}", c.ID)
		}
		if !ok {
			continue
		}
		r, err := rawText(c, text, t.kiln.DecimalComma)
		if err != nil {
			return nil, hint, message.WrapError(err, "channel {1}: {2}: {3}", c.ID, text, message.Of(err))
		}
		raws[i], any = r, true
	}
	if !any {
		return nil, hint, errNoChannel
	}
	if t.kiln.Separator == "," && !t.kiln.DecimalComma && commas(s.columns) {
		hint = message.New("the commas look like decimal commas, one number cut in two: set {1} and another separator", "decimal_comma = true")
	}
	return raws, hint, nil
}

// cutNumber reports whether columns that look like numbers cut at their decimal commas would give a
// probe what stands behind a comma: with four columns and more any second one; with two, one digit
// beside a kiln that is warm.
func (t *decoder) cutNumber(columns []string) bool {
	for _, c := range t.kiln.Channels {
		n, err := strconv.Atoi(c.From)
		if err != nil || n < 1 || n > len(columns) || c.Role != kiln.RoleProbe {
			continue
		}
		before := 0.0
		if n%2 == 0 {
			before, _ = strconv.ParseFloat(columns[n-2], 64)
		}
		if n%2 == 0 && (len(columns) >= 4 || len(columns[n-1]) == 1 && before > 60) {
			return true
		}
	}
	return false
}

// errNoChannel says that a line has nothing of what the settings ask for.
var errNoChannel = message.NewError("none of the channels is on the line")

// commas reports whether columns look like numbers with decimal commas that were cut in two: an
// even number of columns, none with a point, every second one of one or two bare digits.
func commas(columns []string) bool {
	if len(columns) == 0 || len(columns)%2 != 0 {
		return false
	}
	for i, c := range columns {
		if !plain(c) || i%2 == 1 && (len(c) > 2 || c[0] == '-' || c[0] == '+') {
			return false
		}
		for _, b := range []byte(c) {
			if b == '.' || b == 'e' || b == 'E' {
				return false
			}
		}
	}
	return true
}

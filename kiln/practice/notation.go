package practice

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"lidwright/kiln"
)

// longest is the longest programme that Parse takes: a month.
const longest = 31 * 24 * time.Hour

// Parse reads a programme in its notation, words with spaces between them:
//
//	20>600@150   begin at 20 °C, go to 600 °C at 150 °C/h (only the first word names its begin)
//	>1222@60     go on to 1222 °C at 60 °C/h, up or down
//	h30          hold for 30 min
//	off          switched off: Newton cooling towards the room (20 °C, time constant 5 h) down to 30 °C
//	off60        likewise for 60 min
//	off>95       likewise down to 95 °C
//	off/1.5      with a time constant of 1.5 h; also off60/1.5 and off>95/1.5
//	sun30~48x72  a daily swing between 30 and 48 °C for 72 h
//	s20          the controller says nothing for the next 20 min, while the programme goes on
//	U  B         unpacked; the new firing button
//
// A programme without a begin starts at 20 °C. An error names the word that it stumbled over.
func Parse(notation string) (Programme, error) {
	p := Programme{}
	t := Room
	for i, word := range strings.Fields(notation) {
		if err := p.word(word, i == 0, &t); err != nil {
			return Programme{}, fmt.Errorf("practice programme, word %d, %q: %w", i+1, word, err)
		}
		if p.Length() > longest {
			return Programme{}, fmt.Errorf("practice programme, word %d, %q: longer than %v", i+1, word,
				longest)
		}
	}
	return p, nil
}

// MustParse is Parse for programmes that are written into a test or a program; it panics on a wrong one.
func MustParse(notation string) Programme {
	p, err := Parse(notation)
	if err != nil {
		panic(err)
	}
	return p
}

// word takes the next word of the notation. t is the temperature that the programme has reached, and
// moves on with it; first says that no word came before.
func (p *Programme) word(word string, first bool, t *kiln.Celsius) error {
	now := p.Length()
	switch {
	case word == string(Unpack) || word == string(Button):
		p.marks = append(p.marks, Mark{After: now, What: What(word)})
		return nil
	case strings.HasPrefix(word, "off"):
		return p.off(word[3:], t)
	case strings.HasPrefix(word, "sun"):
		return p.sun(word[3:], t)
	case strings.HasPrefix(word, "h"):
		d, err := minutes(word[1:])
		if err != nil {
			return err
		}
		p.add(step{shape: ramp, a: *t, b: *t, lasts: d}, t)
		return nil
	case strings.HasPrefix(word, "s"):
		d, err := minutes(word[1:])
		if err != nil {
			return err
		}
		p.silences = append(p.silences, Silence{From: now, To: now + d})
		return nil
	}
	return p.ramp(word, first, t)
}

// add puts a step at the end of the programme.
func (p *Programme) add(s step, t *kiln.Celsius) {
	s.begin = p.Length()
	p.steps = append(p.steps, s)
	*t = s.at(s.begin + s.lasts)
}

// ramp takes "20>600@150" or ">600@150", and says what of it is wrong.
func (p *Programme) ramp(word string, first bool, t *kiln.Celsius) error {
	begin, rest, ok := strings.Cut(word, ">")
	to, rate, ok2 := strings.Cut(rest, "@")
	if !ok || !ok2 {
		return fmt.Errorf("no such word; a ramp is written 20>600@150")
	}
	if begin != "" {
		if !first {
			return fmt.Errorf("only the first word names where it begins")
		}
		b, err := degrees(begin)
		if err != nil {
			return err
		}
		*t = b
	}
	target, err := degrees(to)
	if err != nil {
		return err
	}
	r, err := number(rate, 1e-3, 1e6)
	if err != nil {
		return err
	}
	hours := math.Abs(float64(target-*t)) / r
	if hours > longest.Hours() {
		return fmt.Errorf("longer than %v", longest)
	}
	p.add(step{shape: ramp, a: *t, b: target, lasts: hoursLong(hours)}, t)
	return nil
}

// off takes what stands behind "off": a time in minutes, or >°C, or nothing for 30 °C; each perhaps with
// /hours. Towards the room or below it nothing cools in finite time, so that is refused.
func (p *Programme) off(rest string, t *kiln.Celsius) error {
	s := step{shape: newton, a: *t, hours: coolingHours}
	rest, constant, ok := strings.Cut(rest, "/")
	if ok {
		h, err := number(constant, 0.01, 100)
		if err != nil {
			return err
		}
		s.hours = h
	}
	if rest != "" && !strings.HasPrefix(rest, ">") {
		d, err := minutes(rest)
		if err != nil {
			return err
		}
		s.lasts = d
		p.add(s, t)
		return nil
	}
	until := offUntil
	if rest != "" {
		u, err := degrees(rest[1:])
		if err != nil {
			return err
		}
		until = u
	}
	if !(until > Room && *t > until) {
		return fmt.Errorf("cannot cool from %.1f to %.1f °C in a room of %.0f °C", *t, until, Room)
	}
	s.lasts = hoursLong(s.hours * math.Log(float64((*t-Room)/(until-Room))))
	p.add(s, t)
	return nil
}

// sun takes what stands behind "sun": low~high x hours.
func (p *Programme) sun(rest string, t *kiln.Celsius) error {
	low, rest, ok := strings.Cut(rest, "~")
	high, long, ok2 := strings.Cut(rest, "x")
	if !ok || !ok2 {
		return fmt.Errorf("a daily swing is written sun30~48x72")
	}
	a, err := degrees(low)
	if err != nil {
		return err
	}
	b, err := degrees(high)
	if err != nil {
		return err
	}
	h, err := number(long, 0, longest.Hours())
	if err != nil {
		return err
	}
	p.add(step{shape: sun, a: a, b: b, hours: 24, lasts: hoursLong(h)}, t)
	return nil
}

// hoursLong is h hours.
func hoursLong(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

// minutes reads a number of them, 0 to a month.
func minutes(text string) (time.Duration, error) {
	m, err := number(text, 0, longest.Minutes())
	return time.Duration(m * float64(time.Minute)), err
}

// degrees reads °C, -50 to 1850.
func degrees(text string) (kiln.Celsius, error) {
	t, err := number(text, -50, 1850)
	return kiln.Celsius(t), err
}

// number reads one and says where it lies outside its bounds.
func number(text string, least, most float64) (float64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is no number", text)
	}
	if !(v >= least && v <= most) {
		return 0, fmt.Errorf("%v lies outside %v to %v", v, least, most)
	}
	return v, nil
}

package usecase

import (
	"time"

	"lidwright/api/wire"
	"lidwright/kiln/message"
)

// localForms are how a time of day and a date are typed, with no word of the zone.
var localForms = []string{"2006-01-02T15:04", "2006-01-02T15:04:05", "2006-01-02 15:04"}

// Which of two moments that a clock called the same, in the night in which it went back.
const (
	firstOfTwo  = "first"
	secondOfTwo = "second"
)

// LocalTime is the moment that a clock of the zone called text; field names it in what is refused. In the
// night in which the clock goes back an hour comes twice: which says whether the first or the second is
// meant, and without it that is asked. One that the clock jumped over is refused, and never shifted.
func LocalTime(field, text string, zone *time.Location, which string) (time.Time, error) {
	for _, form := range localForms {
		t, err := time.ParseInLocation(form, text, zone)
		if err != nil {
			continue
		}
		if t.Format(form) != text {
			return t, refuse("out-of-range",
				message.New("{1} never was: the clock jumped over it that night.", text),
				wire.Field{Name: field,
					Says: message.New("{1} never was: the clock jumped over it that night. What did it say?",
						t.Format("2 Jan ")+text[len("2006-01-02T"):])})
		}
		first, second, twice := bothOf(t, form, text)
		switch {
		case twice && which == "":
			return t, refuse("out-of-range", message.New("{1} came twice: the clock went back that night.",
				text),
				wire.Field{Name: field,
					Says: message.New("{1} came twice, the clock went back that night: which one?",
						first.Format("2 Jan ")+text[len("2006-01-02T"):])})
		case twice && which == secondOfTwo:
			return second, nil
		}
		return first, nil
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return t, refuse("out-of-range", message.New("{1} is no time.", field),
			wire.Field{Name: field, Says: message.New("write 2026-01-14 13:00")})
	}
	return t.In(zone), nil
}

// CameTwice reports whether a clock of the zone called two moments text.
func CameTwice(text string, zone *time.Location) bool {
	for _, form := range localForms {
		if t, err := time.ParseInLocation(form, text, zone); err == nil {
			_, _, twice := bothOf(t, form, text)
			return twice
		}
	}
	return false
}

// bothOf are the two moments that are called as t is, which is one of them; both t where there is one. Clocks
// go back by an hour, or by half of one (Lord Howe Island, by the tz database).
func bothOf(t time.Time, form, text string) (first, second time.Time, twice bool) {
	for _, by := range []time.Duration{-time.Hour, -30 * time.Minute, 30 * time.Minute, time.Hour} {
		if o := t.Add(by); o.Format(form) == text {
			if by < 0 {
				return o, t, true
			}
			return t, o, true
		}
	}
	return t, t, false
}

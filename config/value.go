package config

import (
	"fmt"
	"net"
	"strings"
	"time"
)

// TimeOfDay is a clock time, counted from midnight: "08:00".
type TimeOfDay time.Duration

// UnmarshalText takes hours and minutes, 00:00 to 23:59.
func (t *TimeOfDay) UnmarshalText(text []byte) error {
	at, err := time.Parse("15:04", string(text))
	if err != nil || len(text) != 5 {
		return fmt.Errorf(`must be a time of day as "08:00", from 00:00 to 23:59`)
	}
	*t = TimeOfDay(time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute)
	return nil
}

func (t TimeOfDay) String() string {
	d := time.Duration(t)
	return fmt.Sprintf("%02d:%02d", int(d.Hours()), int(d.Minutes())%60)
}

// Span is a time of every day, "22:00-07:00"; it may pass midnight. From equal to To is no time
// at all, and so is "".
type Span struct{ From, To TimeOfDay }

// UnmarshalText takes two times of day with a hyphen between, or nothing.
func (s *Span) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*s = Span{}
		return nil
	}
	from, to, ok := strings.Cut(string(text), "-")
	var read Span
	if !ok || read.From.UnmarshalText([]byte(from)) != nil || read.To.UnmarshalText([]byte(to)) != nil {
		return fmt.Errorf(`must be two times of day as "22:00-07:00", or ""`)
	}
	if read.From == read.To {
		return fmt.Errorf(`begins when it ends; give two different times as "22:00-07:00", or ""`)
	}
	*s = read
	return nil
}

func (s Span) String() string {
	if s == (Span{}) {
		return ""
	}
	return s.From.String() + "-" + s.To.String()
}

// Holds reports whether the clock time of at, in its own zone, lies in s.
func (s Span) Holds(at time.Time) bool {
	now := TimeOfDay(time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute)
	if s.From <= s.To {
		return now >= s.From && now < s.To
	}
	return now >= s.From || now < s.To
}

// Date is a day, "2026-02-01"; "" is none.
type Date string

// UnmarshalText takes year, month and day of the calendar, or nothing.
func (d *Date) UnmarshalText(text []byte) error {
	if len(text) > 0 {
		if _, err := time.Parse(time.DateOnly, string(text)); err != nil {
			return fmt.Errorf(`must be a day of the calendar as "2026-02-01", or ""`)
		}
	}
	*d = Date(text)
	return nil
}

func (d Date) String() string { return string(d) }

// PublicURL is the address that QR codes and links carry: the one set, else that of the machine's
// own name on the local network and the port listened on.
func (l Listen) PublicURL(hostname string) string {
	if l.URL != "" {
		return l.URL
	}
	scheme := "http"
	if l.TLSCert != "" {
		scheme = "https"
	}
	_, port, _ := net.SplitHostPort(l.Address)
	return fmt.Sprintf("%s://%s.local:%s", scheme, strings.TrimSuffix(hostname, ".local"), port)
}

package usecase

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"
)

// The nights of the change of clocks: central Europe by Directive 2000/84/EC, New York by the Energy Policy
// Act of 2005, Lord Howe Island, which goes back by half an hour, by the tz database.
func TestLocalTime(t *testing.T) {
	for _, c := range []struct{ zone, text, which, want, asks string }{
		{"Europe/Berlin", "2026-10-25T02:30", "", "", "25 Oct 02:30 came twice"},
		{"Europe/Berlin", "2026-10-25T02:30", "first", "2026-10-25T02:30:00+02:00", ""},
		{"Europe/Berlin", "2026-10-25T02:30", "second", "2026-10-25T02:30:00+01:00", ""},
		{"Europe/Berlin", "2026-10-25 01:59", "", "2026-10-25T01:59:00+02:00", ""},
		{"Europe/Berlin", "2026-10-25 03:00", "", "2026-10-25T03:00:00+01:00", ""},
		{"Europe/Berlin", "2026-03-29T02:30", "", "", "29 Mar 02:30 never was"},
		{"Europe/Berlin", "2026-03-29T03:00", "", "2026-03-29T03:00:00+02:00", ""},
		{"Europe/Berlin", "2026-03-29T02:30", "first", "", "never was"},
		{"Europe/Berlin", "2026-10-25T02:30:00+01:00", "", "2026-10-25T02:30:00+01:00", ""},
		{"America/New_York", "2026-11-01T01:30", "second", "2026-11-01T01:30:00-05:00", ""},
		{"America/New_York", "2026-11-01T01:30", "", "", "came twice"},
		{"Australia/Lord_Howe", "2026-04-05T01:45", "first", "2026-04-05T01:45:00+11:00", ""},
		{"Australia/Lord_Howe", "2026-04-05T01:45", "second", "2026-04-05T01:45:00+10:30", ""},
		{"UTC", "2026-10-25T02:30", "", "2026-10-25T02:30:00Z", ""},
		{"UTC", "half past two", "", "", "2026-01-14 13:00"},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		got, err := LocalTime("began_at", c.text, zone, c.which)
		var r *Refusal
		if errors.As(err, &r) {
			if c.asks == "" || len(r.Fields) != 1 || r.Fields[0].Name != "began_at" ||
				!strings.Contains(fmt.Sprint(r.Fields[0].Says), c.asks) {
				t.Errorf("%s %s %s: asked %+v, want %q", c.zone, c.text, c.which, r.Fields, c.asks)
			}
		} else if err != nil || got.Format(time.RFC3339) != c.want {
			t.Errorf("%s %s %s: %v, %v; want %s", c.zone, c.text, c.which, got, err, c.want)
		}
		if CameTwice(c.text, zone) != (strings.Contains(c.asks, "twice") || c.which != "" && c.want != "") {
			t.Errorf("%s %s: twice is wrong", c.zone, c.text)
		}
	}
}

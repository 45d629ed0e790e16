// Package notice tells people what is worth telling: it words what happened, keeps each message
// in an outbox until every receiver has taken it, and calls an address while all is well so that
// our own silence is noticed. A notice is a nudge, never a safety device.
package notice

import (
	"fmt"
	"math"
	"strings"
	"time"

	"lidwright/kiln"
)

// Last is what every message ends with.
const Last = "Go and look. This message is no safety device; the kiln's own protection and a person are."

// The events of the studio; those of a kiln are in package kiln.
const (
	LoadUnpacked = "load.unpacked"
	BarsWaiting  = "bars.waiting"
	RateMoved    = "rate.moved"
	RateStale    = "rate.stale"
	BatchShifted = "batch.shifted"
	ProbeBias    = "probe.bias"
	CopyOld      = "copy.old"
	StoreBack    = "store.back" // at a start something was missing that had been kept
	StoreGone    = "store.gone" // the file that is open is no longer in its place
	NotWriting   = "store.not_writing"
	Test         = "test"
)

// Message is what a receiver gets, as JSON. ID stays the same over all tries.
type Message struct {
	ID           string         `json:"id"`
	Event        string         `json:"event"`
	State        string         `json:"state"` // began, cleared, once
	At           string         `json:"at"`    // RFC 3339, in the studio's zone
	ClockTrusted bool           `json:"clock_trusted"`
	Site         string         `json:"site"`
	Kiln         string         `json:"kiln,omitempty"`
	Says         string         `json:"says"`
	Link         string         `json:"link"`
	Data         map[string]any `json:"data"`
}

// what is each event of a kiln in words, when it begins or happens, and when it clears.
var what = map[string][2]string{
	kiln.FiringStartedNotice:   {"%s began to fire", ""},
	kiln.FiringEndedNotice:     {"the firing of %s is over", ""},
	kiln.FiringLongNotice:      {"%s is on its way up for half as long again as usual", "%s is no longer on its way up for longer than usual"},
	kiln.QuietNotice:           {"%s is quiet: we cannot see it, which does not mean that it is cold or off", "%s is heard again"},
	kiln.OverLimitNotice:       {"%s reads over its limit. Go to it if it is safe and use its own switch and the wall isolator as its maker says; smoke or fire: get out, call", "%s reads under its limit again"},
	kiln.MayBeOverLimitNotice:  {"%s jumped to a reading over its limit, which may be false. Go and look if it is safe; its own switch and the wall isolator as its maker says", "%s reads as before, or the jump is believed by now"},
	kiln.ProbeLostNotice:       {"the control probe of %s is broken: another probe speaks for it. What the controller does without it, its maker says: go and look", "the control probe of %s speaks again, or the firing is over"},
	kiln.StoppedClimbingNotice: {"%s stopped climbing well short of its usual top", "%s climbs again"},
	kiln.FellEarlyNotice:       {"%s began to fall well short of its usual top", ""},
	kiln.UnpackingMarkNotice:   {"%s is down to its unpacking mark. The figure is one spot; shelves and thick lids stay hotter. Switch off at the isolator before reaching in, vent on, gloves", ""},
	kiln.StillFiringNotice:     {"%s was called unpacked before it reached its top; it is still being recorded", ""},
}

// OfKiln words a notice of a kiln. zone is the studio's.
func OfKiln(n kiln.Notice, id, site string, zone *time.Location) Message {
	words, known := what[n.Event]
	says := words[0]
	if n.State == kiln.NoticeCleared {
		says = words[1]
	}
	if !known {
		says = "%s: " + n.Event
	}
	says = sentence(fmt.Sprintf(says, n.Kiln))
	data := map[string]any{"read_age_s": math.Round(n.Age.Seconds())}
	if n.T.Known() {
		data["last_temperature_c"] = math.Round(float64(n.T)*10) / 10
		says += fmt.Sprintf(" Last reading %.0f °C, %s ago.", float64(n.T), age(n.Age))
	}
	if n.Event == kiln.MayBeOverLimitNotice && n.State != kiln.NoticeCleared && n.Aside.Held() {
		data["held_c"] = math.Round(float64(n.Aside.T)*10) / 10
		says += fmt.Sprintf(" It reads %.0f °C.", float64(n.Aside.T))
	}
	if n.Event == kiln.ProbeLostNotice {
		data["probe"] = string(n.Probe)
	}
	if n.Firing != "" {
		data["firing"] = string(n.Firing)
	}
	return Message{ID: id, Event: n.Event, State: string(n.State), At: n.At.Wall.In(zone).Format(time.RFC3339), ClockTrusted: n.At.Trusted,
		Site: site, Kiln: string(n.Kiln), Says: says + " " + Last, Link: "/spyhole/" + string(n.Kiln), Data: data}
}

// cleared is what ends m: m itself if it says so, else words of its own.
func cleared(m Message) Message {
	if m.State == string(kiln.NoticeCleared) {
		return m
	}
	says := "no longer so: " + m.Event
	if words := what[m.Event][1]; words != "" {
		says = fmt.Sprintf(words, m.Kiln)
	}
	m.ID, m.State, m.Says, m.Data = "", string(kiln.NoticeCleared), sentence(says)+" "+Last, map[string]any{}
	return m
}

// OfStudio words what is no kiln's: says is a sentence without the last one.
func OfStudio(event, state, says, link string, data map[string]any, at kiln.Stamp, id, site string, zone *time.Location) Message {
	if data == nil {
		data = map[string]any{}
	}
	return Message{ID: id, Event: event, State: state, At: at.Wall.In(zone).Format(time.RFC3339), ClockTrusted: at.Trusted,
		Site: site, Says: sentence(says) + " " + Last, Link: link, Data: data}
}

func sentence(s string) string {
	if s == "" {
		return s
	}
	s = strings.ToUpper(s[:1]) + s[1:]
	if strings.HasSuffix(s, ".") {
		return s
	}
	return s + "."
}

func age(d time.Duration) string {
	switch {
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.0f h", d.Hours())
}

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
	"lidwright/kiln/record"
)

// NoDevice ends every message: one of a kiln as Last, any other as Plain.
const (
	NoDevice = "This message is no safety device"
	Last     = NoDevice + ": rely on the kiln's own protection and on a person there."
	Plain    = NoDevice + "."
)

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

	parts []string // Says in English, a sentence each; none of one that was read back
}

// In is m worded in a language: say gives each of its sentences there.
func (m Message) In(say func(english string) string) Message {
	if len(m.parts) > 0 {
		own := make([]string, len(m.parts))
		for i, p := range m.parts {
			own[i] = sentence(say(p))
		}
		m.Says = strings.Join(own, " ")
	}
	return m
}

// worded is m with what it says, in English.
func worded(m Message, says ...string) Message {
	m.parts = nil
	for _, s := range says {
		m.parts = append(m.parts, strings.Split(strings.TrimSuffix(s, "."), ". ")...)
	}
	return m.In(func(english string) string { return english })
}

// what is each event of a kiln in words, when it begins or happens, and when it clears.
var what = map[string][2]string{
	record.FiringStartedNotice:   {"%s began to fire", ""},
	record.FiringEndedNotice:     {"the firing of %s is over", ""},
	record.FiringLongNotice:      {"%s is on its way up for half as long again as usual", "%s is no longer on its way up for longer than usual"},
	record.QuietNotice:           {"%s is quiet: we cannot see it, which does not mean that it is cold or off. Go and look if it is safe", "%s is heard again"},
	record.StillHotNotice:        {"%s is still hot, or climbing again, long after the end. A relay or contactor can stick: then the kiln heats on though its controller says off or done. Switch off at the isolator if it is safe, and have it mended first. Smoke or fire: get out, call", "%s cools, or somebody was at it"},
	record.VentOffNotice:         {"%s fires and its vent is off. Go and look if it is safe. Switch the vent on before the firing and leave it on until the kiln is cold; no timer or night setback of the building may stop it", "the vent of %s is on again, or its firing is over"},
	record.OverLimitNotice:       {"%s reads over its limit. Go to it if it is safe and use its own switch and the wall isolator as its maker says. Smoke or fire: get out, call", "%s reads under its limit again"},
	record.MayBeOverLimitNotice:  {"%s jumped to a reading over its limit, which may be false. Go and look if it is safe; its own switch and the wall isolator as its maker says", "%s reads as before, or the jump is believed by now"},
	record.ProbeLostNotice:       {"the control probe of %s is broken: another probe speaks for it. What the controller does without it, its maker says: go and look", "the control probe of %s speaks again, or the firing is over"},
	record.StoppedClimbingNotice: {"%s stopped climbing well short of its usual top", "%s climbs again"},
	record.StandsLowNotice:       {"%s has stood below 200 °C for twelve hours, with its firing open: candling, or forgotten", ""},
	record.FellEarlyNotice:       {"%s began to fall well short of its usual top", ""},
	record.CooledNotice:          {"%s reads at or below the temperature it is to be kept shut above. That is no leave to open: whoever is in charge decides. One spot is measured, and a probe that slipped out reads cold; shelves, posts and thick lids stay hotter. Isolator off first; vent on; gloves and eye protection", ""},
	record.StillFiringNotice:     {"%s was called unpacked before it reached its top; it is still being recorded", ""},
}

// Words are those of an event of a kiln, with %s for its name; empty where there are none.
func Words(event string, state record.NoticeState) string {
	if state == record.NoticeCleared {
		return what[event][1]
	}
	return what[event][0]
}

// OfKiln words a notice of a kiln. zone is the studio's.
func OfKiln(n record.Notice, id, site string, zone *time.Location) Message {
	says := Words(n.Event, n.State)
	if says == "" {
		says = "%s: " + n.Event
	}
	parts := []string{fmt.Sprintf(says, n.Kiln)}
	data := map[string]any{"read_age_s": math.Round(n.Age.Seconds())}
	if n.T.Known() {
		data["last_temperature_c"] = math.Round(float64(n.T)*10) / 10
		parts = append(parts, fmt.Sprintf("Last reading %.0f °C, %s ago", float64(n.T), age(n.Age)))
	}
	if n.Event == record.MayBeOverLimitNotice && n.State != record.NoticeCleared && n.Aside.Held() {
		data["held_c"] = math.Round(float64(n.Aside.T)*10) / 10
		parts = append(parts, fmt.Sprintf("It reads %.0f °C", float64(n.Aside.T)))
	}
	if n.Event == record.CooledNotice && n.Soon {
		data["far_sooner_than_usual"] = true
		parts = append(parts, "That is far sooner than usual: the probe may be wrong, look before you open")
	}
	if n.Event == record.ProbeLostNotice {
		data["probe"] = string(n.Probe)
	}
	if n.Firing != "" {
		data["firing"] = string(n.Firing)
	}
	return worded(Message{ID: id, Event: n.Event, State: string(n.State), At: n.At.Wall.In(zone).Format(time.RFC3339), ClockTrusted: n.At.Trusted,
		Site: site, Kiln: string(n.Kiln), Link: "/kiln/" + string(n.Kiln), Data: data}, append(parts, Last)...)
}

// cleared is what ends m: m itself if it says so, else words of its own.
func cleared(m Message) Message {
	if m.State == string(record.NoticeCleared) {
		return m
	}
	says := "no longer so: " + m.Event
	if words := what[m.Event][1]; words != "" {
		says = fmt.Sprintf(words, m.Kiln)
	}
	last := Plain
	if m.Kiln != "" {
		last = Last
	}
	m.ID, m.State, m.Data = "", string(record.NoticeCleared), map[string]any{}
	return worded(m, says, last)
}

// OfStudio words what is no kiln's: says is a sentence without the last one.
func OfStudio(event, state, says, link string, data map[string]any, at kiln.Stamp, id, site string, zone *time.Location) Message {
	if data == nil {
		data = map[string]any{}
	}
	return worded(Message{ID: id, Event: event, State: state, At: at.Wall.In(zone).Format(time.RFC3339), ClockTrusted: at.Trusted,
		Site: site, Link: link, Data: data}, says, Plain)
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

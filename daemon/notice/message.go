// Package notice tells people what is worth telling.
//
// In flow what happened, as a record.Notice of a kiln or as news of the studio; out flow messages with a
// title, a sentence and a link, to webhooks and by e-mail. Each message waits in a queue until every receiver
// has taken it, again and again with a growing pause; quiet hours hold back what can wait until morning.
// While all is well an address is called, so that our own silence is noticed.
//
// A notice is a nudge, never a safety device.
package notice

import (
	"fmt"
	"math"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
)

// Last ends every message of a kiln, Plain any other.
const (
	Last  message.Key = "This message is no safety device: rely on the kiln's own protection and on a person there."
	Plain message.Key = "This message is no safety device."
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

	words message.Message // Says; of one that was read back its English as it stands
}

// In is m worded as r reads it.
func (m Message) In(r message.Reader) Message {
	if !m.words.IsZero() {
		m.Says = m.words.Render(r)
	}
	return m
}

// worded is m with what it says, each a sentence, in English.
func worded(m Message, says ...message.Message) Message {
	for i, s := range says {
		says[i] = message.Sentence(s)
	}
	m.words = message.Join(" ", says...)
	return m.In(message.Reader{})
}

// what is each event of a kiln in words, when it begins or happens, and when it clears.
var what = map[string][2][]message.Key{
	record.FiringStartedNotice: {{"{1} began to fire"}, nil},
	record.FiringEndedNotice:   {{"the firing of {1} is over"}, nil},
	record.FiringLongNotice: {{"{1} is on its way up for half as long again as usual"},
		{"{1} is no longer on its way up for longer than usual"}},
	record.QuietNotice: {{"{1} is quiet: we cannot see it, which does not mean that it is cold or off",
		"Go and look if it is safe"}, {"{1} is received again"}},
	record.StillHotNotice: {{"{1} is still hot, or climbing again, long after the end",
		"A relay or contactor can stick: then the kiln heats on though its controller says off or done",
		"Switch off at the isolator if it is safe, and have it mended first",
		"Smoke or fire: get out, call"}, {"{1} cools, or somebody was at it"}},
	record.VentOffNotice: {{"{1} fires and its vent is off",
		"Go and look if it is safe",
		"Switch the vent on before the firing and leave it on until the kiln is cold; no timer or night setback of the building may stop it"}, {"the vent of {1} is on again, or its firing is over"}},
	record.OverLimitNotice: {{"{1} reads over its limit",
		"Go to it if it is safe and use its own switch and the wall isolator as its maker says",
		"Smoke or fire: get out, call"}, {"{1} reads under its limit again"}},
	record.MayBeOverLimitNotice: {{"{1} jumped to a reading over its limit, which may be false",
		"Go and look if it is safe; its own switch and the wall isolator as its maker says"},
		{"{1} reads as before, or the jump is believed by now"}},
	record.ProbeLostNotice: {{"the control probe of {1} is broken: another probe speaks for it",
		"What the controller does without it, its maker says: go and look"},
		{"the control probe of {1} speaks again, or the firing is over"}},
	record.StoppedClimbingNotice: {{"{1} stopped climbing well short of its usual top"},
		{"{1} climbs again"}},
	record.StandsLowNotice: {{"{1} has stood below {2} for twelve hours, with its firing open: candling, or forgotten"}, nil},
	record.FellEarlyNotice: {{"{1} began to fall well short of its usual top"}, nil},
	record.CooledNotice: {{"{1} reads at or below the temperature it is to be kept shut above",
		"That is no leave to open: whoever is in charge decides",
		"One spot is measured, and a probe that slipped out reads cold; shelves, posts and thick lids stay hotter",
		"Isolator off first; vent on; gloves and eye protection"}, nil},
	record.StillFiringNotice: {{"{1} was called unpacked before it reached its top; it is still being recorded"}, nil},
}

// standsLow is what a kiln stands below while its firing is open, °C: the second place of a first sentence.
const standsLow = 200

// Words are the sentences of an event of a kiln, none where it has no words.
func Words(event string, state record.NoticeState, name kiln.KilnID) (says []message.Message) {
	keys := what[event][0]
	if state == record.NoticeCleared {
		keys = what[event][1]
	}
	for i, k := range keys {
		if i == 0 {
			says = append(says, message.New(k, name, kiln.Celsius(standsLow)))
		} else {
			says = append(says, message.New(k))
		}
	}
	return says
}

// OfKiln words a notice of a kiln. zone is the studio's.
func OfKiln(n record.Notice, id, site string, zone *time.Location) Message {
	parts := Words(n.Event, n.State, n.Kiln)
	if len(parts) == 0 {
		parts = []message.Message{message.New("{1}: {2}", n.Kiln, n.Event)}
	}
	data := map[string]any{"read_age_s": math.Round(n.Age.Seconds())}
	if n.T.Known() {
		data["last_temperature_c"] = math.Round(float64(n.T)*10) / 10
		parts = append(parts, message.New("Last reading {1}, {2} ago", n.T, age(n.Age)))
	}
	if n.Event == record.MayBeOverLimitNotice && n.State != record.NoticeCleared && n.Aside.Held() {
		data["held_c"] = math.Round(float64(n.Aside.T)*10) / 10
		parts = append(parts, message.New("It reads {1}", n.Aside.T))
	}
	if n.Event == record.CooledNotice && n.Soon {
		data["far_sooner_than_usual"] = true
		parts = append(parts, message.New("That is far sooner than usual: the probe may be wrong, look before you open"))
	}
	if n.Event == record.ProbeLostNotice {
		data["probe"] = string(n.Probe)
	}
	if n.Firing != "" {
		data["firing"] = string(n.Firing)
	}
	return worded(Message{ID: id, Event: n.Event, State: string(n.State),
		At: n.At.Wall.In(zone).Format(time.RFC3339), ClockTrusted: n.At.Trusted,
		Site: site, Kiln: string(n.Kiln), Link: "/kiln/" + string(n.Kiln), Data: data}, append(parts,
		message.New(Last))...)
}

// cleared is what ends m: m itself if it says so, else words of its own.
func cleared(m Message) Message {
	if m.State == string(record.NoticeCleared) {
		return m
	}
	says := Words(m.Event, record.NoticeCleared, kiln.KilnID(m.Kiln))
	if len(says) == 0 {
		says = []message.Message{message.New("no longer so: {1}", m.Event)}
	}
	last := Plain
	if m.Kiln != "" {
		last = Last
	}
	m.ID, m.State, m.Data = "", string(record.NoticeCleared), map[string]any{}
	return worded(m, append(says, message.New(last))...)
}

// OfStudio words what is no kiln's: says is a sentence without the last one.
func OfStudio(event, state string, says message.Message, link string, data map[string]any, at kiln.Stamp, id,
	site string,
	zone *time.Location) Message {
	if data == nil {
		data = map[string]any{}
	}
	return worded(Message{ID: id, Event: event, State: state, At: at.Wall.In(zone).Format(time.RFC3339),
		ClockTrusted: at.Trusted,
		Site:         site, Link: link, Data: data}, says, message.New(Plain))
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

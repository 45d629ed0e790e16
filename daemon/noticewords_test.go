package daemon

import (
	"strings"
	"testing"
	"time"

	"lidwright/api"
	"lidwright/api/apitest"
	"lidwright/daemon/notice"
	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
	"lidwright/tiles"
)

// Every message of a kiln and of the studio has its words in the language of the site, all of them: the
// closing words too, and no name or figure is lost. English stays as it is written.
func TestMessagesInTheLanguageOfTheSite(t *testing.T) {
	english, err := api.SiteReader("fr", "mm", false, false)
	if err != nil {
		t.Fatal(err)
	}
	german, err := api.SiteReader("de-AT", "mm", false, false)
	if err != nil {
		t.Fatal(err)
	}
	warm, err := api.SiteReader("de", "mm", false, true)
	if err != nil {
		t.Fatal(err)
	}
	var all []notice.Message
	for _, event := range []string{record.FiringStartedNotice, record.FiringEndedNotice,
		record.FiringLongNotice, record.QuietNotice, record.OverLimitNotice, record.StillHotNotice,
		record.VentOffNotice,
		record.StoppedClimbingNotice, record.FellEarlyNotice, record.StandsLowNotice, record.CooledNotice,
		record.StillFiringNotice} {
		for _, state := range []record.NoticeState{record.NoticeBegan, record.NoticeCleared} {
			if len(notice.Words(event, state, "big-blue")) > 0 {
				all = append(all, notice.OfKiln(record.Notice{Event: event, State: state, Kiln: "big-blue",
					T: 612, Age: 5 * time.Minute}, "id", "studio", time.UTC))
			}
		}
	}
	if len(all) != 18 {
		t.Errorf("%d messages of a kiln", len(all))
	}
	for _, says := range []message.Message{
		message.New("load {1} is unpacked", 7),
		message.New("load {1} is unpacked; bars of it to measure: {2}", 7, 3),
		message.New("{1} fired bars of load {2} have waited to be measured for {3} days", 4, 7,
			message.Number{Value: 5}),
		message.New("what was recorded since {1} is in no copy",
			message.At(time.Date(2026, 2, 3, 12, 0, 0, 0, time.UTC), "2 Jan")),
		message.New("everything that was recorded is in a copy again"),
		message.New("this is a test of the notices of {1}", "studio"),
		message.New("bag {1} of {2} shrinks {3} more than {4} on a lid of {5}", "B", "tern",
			tiles.MM.Of(0.4), "A", tiles.MM.Of(100))} {
		all = append(all, notice.OfStudio(notice.CopyOld, "once", says, "/", nil, kiln.Stamp{},
			"id", "studio", time.UTC))
	}
	for _, m := range all {
		if m.In(english).Says != m.Says {
			t.Errorf("in English: %q, not %q", m.In(english).Says, m.Says)
		}
		own := m.In(german).Says
		last := map[bool]string{true: "Diese Nachricht ist keine Schutzeinrichtung: auf den eigenen Schutz des Ofens und einen Menschen vor Ort verlassen.", false: "Diese Nachricht ist keine Schutzeinrichtung."}[m.Kiln != ""]
		if !strings.HasSuffix(own, " "+last) ||
			m.Kiln != "" && !(strings.Contains(own, "ig-blue") && strings.Contains(own, "612 °C")) {
			t.Errorf("in German: %q", own)
		}
		if says := m.In(warm).Says; m.Kiln != "" && (!strings.Contains(says, "1134 °F") ||
			strings.Contains(says, "°C")) {
			t.Errorf("in °F: %q", says)
		}
		for _, word := range []string{" the ", " is ", " and ", " it ", " of ", "The ", "That "} {
			if strings.Contains(own, word) {
				t.Errorf("%q is left in English in %q", word, own)
			}
		}
		for _, text := range []string{m.Says, own} {
			if says := apitest.LeaveToOpen(text); says != "" {
				t.Errorf("%q in %q", says, text)
			}
		}
	}
}

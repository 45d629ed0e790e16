package api

import (
	"math"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/faults"
	"lidwright/kiln/record"
)

// coolingKiln is a kiln that has cooled for five hours as Newton says, from 1020 °C towards a room of 20 °C.
type coolingKiln struct {
	*hearth
}

func (c coolingKiln) LiveCurve(kiln.KilnID) (record.LiveCurve, bool) {
	e := kiln.Envelope{Channel: "1"}
	for m := range 5*60 + 1 {
		t := kiln.Celsius(20 + 1000*math.Exp(-float64(m)/60/3))
		e.After, e.Low, e.High = append(e.After, time.Duration(m)*time.Minute), append(e.Low,
			t), append(e.High, t)
	}
	return record.LiveCurve{Firing: c.firing, Minutes: []kiln.Envelope{e}}, true
}

// TestForecastWhereverAKilnIsShown: each page that shows a kiln tells when it reads below what it is kept
// shut above, as a forecast of a reading with whom to ask beside it, and no page says that it may be opened;
// where the reading cannot be gone by, none tells it.
func TestForecastWhereverAKilnIsShown(t *testing.T) {
	b := newBench(t)
	firing := kiln.Firing{ID: kiln.FiringID(b.id()), Kiln: "blue", Number: 1,
		Kind: kiln.Glaze, Source: "serial",
		Began: b.s.Now(), Status: kiln.Running, Peak: 1020}
	if _, err := b.store.BeginFiring(t.Context(), firing, nil); err != nil {
		t.Fatal(err)
	}
	probe := kiln.Channel{ID: "1", Role: kiln.RoleProbe}
	b.s.Kiln = map[kiln.KilnID]kiln.Kiln{"blue": {ID: "blue", Control: "1", KeepShut: 80,
		Channels: []kiln.Channel{probe}}}
	cools := inState(kiln.Falling, 209)
	cools.Firing, cools.Kind, cools.Number, cools.TopPassed, cools.Elapsed =
		firing.ID, kiln.Glaze, 1, true, 5*time.Hour
	cools.Probe, cools.Hottest, cools.HottestOf, cools.Peak = "1", 209, "1", 1020
	cools.Channels = []record.LiveChannel{{Channel: "1", Role: kiln.RoleProbe, T: 209,
		LastT: 209, Fresh: true}}

	pages := map[string]string{"/": "below 80 °c about", "/kiln/blue": "below 80 °c about",
		"/wall/blue": "below 80 °c about", "/wall": "below 80 °c about", "/door/blue": "below 80 °c about"}
	held := cools
	held.Aside = faults.Aside{T: 700, Since: b.s.Now()}
	over, hot, stands, off, silent := cools, cools, cools, cools, cools
	over.OverLimit, over.Limit, hot.StillHot, silent.Fresh = true, 1240, true, false
	stands.Channels = []record.LiveChannel{{Channel: "1", Role: kiln.RoleProbe, T: 209,
		LastT: 209, Fresh: true,
		Still: b.s.Now()}}
	off.Disagree = []faults.Disagreement{{Channel: "1", By: 30}}
	for name, c := range map[string]struct {
		live record.Live
		told bool
	}{"it cools": {cools, true}, "a reading is held aside": {held, false}, "over its limit": {over, false},
		"still hot": {hot, false}, "the probe stands still": {stands, false},
		"the probe is off": {off, false},
		"not heard":        {silent, false}} {
		b.s.Recorder = coolingKiln{&hearth{live: c.live, firing: firing}}
		for path, says := range pages {
			text := strings.ToLower(b.page(path))
			if told := strings.Contains(text, says); told != c.told {
				t.Errorf("%s: %s tells when it is cool: %v, want %v", name, path, told, c.told)
			}
			if c.told && !strings.Contains(text, "whoever is in charge decides") {
				t.Errorf("%s: %s tells it with nobody in charge", name, path)
			}
			for _, leave := range []string{"safe to open", "may be opened", "open about",
				"open it at", "open below"} {
				if strings.Contains(text, leave) {
					t.Errorf("%s: %s says %q", name, path, leave)
				}
			}
		}
		now := b.json("GET", "/v1/now", "", 200)["items"].([]any)[0].(map[string]any)
		likely, _ := now["below_keep_shut_likely"].([]any)
		if (now["below_keep_shut_about"] != nil) != c.told || (len(likely) == 2) != c.told {
			t.Errorf("%s: /v1/now tells %v, %v", name, now["below_keep_shut_about"], likely)
		}
		if c.told { // 3 h times ln(189/60) from 209 °C on: Newton's law of cooling
			want := b.s.Now().Wall.Add(time.Duration(3 * math.Log(189.0/60) * float64(time.Hour)))
			at, err := time.Parse(time.RFC3339, now["below_keep_shut_about"].(string))
			if off := at.Sub(want); err != nil || off.Abs() > 15*time.Minute {
				t.Errorf("%s: %v, want %v", name, at, want)
			}
		}
	}

	// One that heats and of whose kind there is no usual firing: it is said that nobody knows.
	heats := cools
	heats.State, heats.TopPassed = kiln.Rising, false
	b.s.Recorder = coolingKiln{&hearth{live: heats, firing: firing}}
	for _, path := range []string{"/", "/kiln/blue", "/door/blue"} {
		if text := b.page(path); !strings.Contains(text,
			"When it reads below 80 °C is not known until it cools.") {
			t.Errorf("%s says nothing of when it is cool while it heats", path)
		}
	}
}

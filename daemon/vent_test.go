package daemon

import (
	"context"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/api/caution"
	"lidwright/kiln"
	"lidwright/kiln/record"
)

// A contact on the vent is kept with the record. Off while the kiln fires it is told: now, as a notice, on
// the pages with the caution, and in the firing afterwards.
func TestVentOffIsTold(t *testing.T) {
	b := newHeatBenchWith(t, strings.Replace(heatSettings, "[kiln.big-blue.probe.1]",
		"[kiln.big-blue.channel.fan]\nfrom = \"2\"\nunit = \"c\"\nrole = \"vent\"\n[kiln.big-blue.probe.1]",
		1))
	at := b.d.Now()
	var passed atomic.Int64 // ns
	b.d.Now = func() kiln.Stamp {
		now, after := at, time.Duration(passed.Load())
		now.Since, now.Wall = at.Since+after, at.Wall.Add(after)
		return now
	}
	ticks := make(chan time.Time)
	b.d.Tick = func(context.Context) <-chan time.Time { return ticks }
	b.run()
	send := func(minutes int, from, to, vent float64) {
		for i := range minutes {
			passed.Add(int64(time.Minute))
			b.d.samples <- kiln.Sample{Kiln: "big-blue", At: b.d.Now(), Values: []kiln.Value{
				{Channel: "1", T: kiln.Celsius(from + (to-from)*float64(i)/float64(minutes))},
				{Channel: "fan", T: kiln.Celsius(vent)}}}
			ticks <- time.Time{}
		}
	}
	send(20, 20, 20, 1)
	send(60, 20, 200, 1)
	var now struct {
		Firing, Vent *string
	}
	until(t, "the firing", func() bool {
		passed.Add(int64(time.Second))
		b.ask("GET", "/v1/now/big-blue", nil, &now)
		return now.Firing != nil
	})
	send(12, 200, 240, 0)
	until(t, "a vent that is off", func() bool {
		passed.Add(int64(time.Second))
		b.ask("GET", "/v1/now/big-blue", nil, &now)
		return now.Firing != nil && now.Vent != nil && *now.Vent == "off"
	})
	until(t, "its notice", func() bool {
		_, text := b.ask("GET", "/v1/notices", nil, nil)
		return strings.Contains(text, record.VentOffNotice) && strings.Contains(text,
			"ig-blue fires and its vent is off. ")
	})
	var whole struct {
		VentOff []struct {
			AfterS int64 `json:"after_s"`
			ForS   int64 `json:"for_s"`
		} `json:"vent_off"`
		VentSays string `json:"vent_says"`
	}
	until(t, "the stretch", func() bool {
		b.ask("GET", "/v1/firings/"+*now.Firing, nil, &whole)
		return len(whole.VentOff) == 1 && whole.VentOff[0].ForS >= 660
	})
	if v := whole.VentOff[0]; v.ForS > 900 || v.AfterS < 3000 || v.AfterS > 4800 ||
		!strings.HasPrefix(whole.VentSays, "The vent was off for 1") {
		t.Errorf("%+v", whole)
	}
	for path, want := range map[string]string{"/kiln/big-blue": "The vent of big-blue is off.",
		"/firing/" + *now.Firing: whole.VentSays, "/": "The vent of big-blue is off."} {
		_, page := b.ask("GET", path, nil, nil)
		page = asRead(page)
		if !strings.Contains(page, want) || path != "/" && !strings.Contains(page,
			caution.Text(caution.VentOn).String()) {
			t.Errorf("%s says nothing of the vent", path)
		}
	}
	send(2, 240, 246, 1)
	until(t, "a vent that is on again", func() bool {
		passed.Add(int64(time.Second))
		b.ask("GET", "/v1/now/big-blue", nil, &now)
		return now.Vent != nil && *now.Vent == "on"
	})
	if _, page := b.ask("GET", "/kiln/big-blue", nil, nil); strings.Contains(page,
		"The vent of big-blue is off.") || !strings.Contains(page, "The vent was off for") {
		t.Error("the kiln's page does not tell that it was off, and is on again")
	}
}

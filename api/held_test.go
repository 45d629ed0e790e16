package api

import (
	"math"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/faults"
	"lidwright/kiln/record"
)

// What is held aside, which probe speaks in another's place and what has not moved are told in the
// answer about a kiln; heat work, peak and features of a firing are those of the probe that spoke.
func TestHeldAndStandInAreTold(t *testing.T) {
	at := kiln.Stamp{Boot: "a", Since: time.Hour, Wall: time.Date(2026, 2, 2, 12, 0, 0, 0, time.UTC),
		Trusted: true}
	s := &Server{Studio: &usecase.Studio{Site: usecase.Site{Zone: time.UTC},
		Now:  func() kiln.Stamp { return at },
		Kiln: map[kiln.KilnID]kiln.Kiln{"blue": {ID: "blue", Control: "1"}}}}
	l := inState(kiln.Rising, 600)
	l.Channels = []record.LiveChannel{{Channel: "2", Role: kiln.RoleProbe, T: 600, LastT: 600, Fresh: true}}
	j := s.Kilns().KilnNow(t.Context(), l)
	if j.Probe != "1" || j.ProbeSince != nil || j.HeldC != nil || j.HeldSince != nil ||
		j.HeldSays.String() != "" || j.Channels[0].HeldC != nil || j.Channels[0].StillSince != nil {
		t.Errorf("nothing is held and the control probe speaks: %+v", j)
	}
	l.T, l.Fresh, l.Firing, l.Peak = kiln.NoTemperature(), false, "f", 600
	l.Probe, l.ProbeSince = "2", at
	l.Aside = faults.Aside{T: 873.15, Since: at, Unit: true}
	l.Channels[0].Aside, l.Channels[0].Still = l.Aside, at
	l.HeatWork = map[kiln.ChannelID]kiln.HeatWork{"1": {C: 300}, "2": {C: 590, Low: 580, High: 600}}
	j = s.Kilns().KilnNow(t.Context(), l)
	if j.Probe != "2" || *j.ProbeSince != "2026-02-02T12:00:00Z" || *j.HeldC != 873.2 ||
		*j.HeldSince != *j.ProbeSince || !strings.Contains(j.HeldSays.String(), "873 °C") ||
		j.TemperatureC != nil || j.Fresh || *j.HeatWorkC != 590 || *j.Channels[0].HeldC != 873.2 ||
		*j.Channels[0].StillSince != *j.ProbeSince {
		t.Errorf("held and spoken for: %+v", j)
	}
	f := kiln.Firing{ID: "f", Kiln: "blue", Status: kiln.Ended, Began: at, Over: at, Peak: 1238,
		StandIn: kiln.StandIn{Probe: "2", For: "1", After: 2 * time.Hour},
		HeatWork: map[kiln.ChannelID]kiln.HeatWork{"1": {C: 300, Model: "2"},
			"2": {C: 1220, Low: 1215, High: 1225, Model: "2"}}}
	told := s.Firings().Firing(f, detect.Expected{HeatWork: kiln.Celsius(math.NaN())})
	if told.StandIn == nil || *told.StandIn != (wire.StandIn{Probe: "2", For: "1", AfterS: 7200}) ||
		*told.HeatWorkC != 1220 || *told.AsIndicated.HeatWorkC != 1220 ||
		!strings.Contains(told.Says.String(), "probe 2 spoke for probe 1") {
		t.Errorf("a firing that probe 2 spoke for: %+v", told)
	}
}

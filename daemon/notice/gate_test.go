package notice

import (
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/record"
)

// at is a moment of one running of the machine.
func at(minutes int) kiln.Stamp {
	return kiln.Stamp{Boot: "b", Since: time.Duration(minutes) * time.Minute}
}

// A line that comes and goes every minute for two hours is one notice, and one clearing.
func TestStorm(t *testing.T) {
	var g Gate
	began, clearings := 0, 0
	told := func(minute int, state string) {
		if g.Pass(Message{ID: "i", Event: record.QuietNotice, State: state, Kiln: "big-blue"}, at(minute)) {
			if state == "began" {
				began++
			} else {
				clearings++
			}
		}
	}
	for m := 0; m < 120; m += 2 {
		told(m, "began")
		told(m+1, "cleared")
		if n := len(g.Look(at(m + 1))); n > 0 {
			t.Fatalf("cleared at %d min while it still came back", m+1)
		}
	}
	for m := 120; m < 180; m++ {
		clearings += len(g.Look(at(m)))
	}
	if began != 1 || clearings != 1 {
		t.Errorf("%d beginnings and %d clearings, want one of each", began, clearings)
	}
}

func TestLongOneClearsAtOnce(t *testing.T) {
	var g Gate
	m := Message{ID: "i", Event: record.OverLimitNotice, State: "began", Kiln: "big-blue"}
	if !g.Pass(m, at(0)) {
		t.Error("the beginning was held back")
	}
	m.Kiln = "little-red"
	if !g.Pass(m, at(1)) {
		t.Error("another kiln's was held back")
	}
	m.Kiln, m.State = "big-blue", "cleared"
	if !g.Pass(m, at(20)) {
		t.Error("the clearing was held back")
	}
	if got := g.Look(at(60)); len(got) != 0 {
		t.Errorf("cleared again: %v", got)
	}
	m.State = "began"
	if !g.Pass(m, at(61)) {
		t.Error("it began anew and was held back")
	}
}

// What was told before a restart is not told again, and is cleared if it does not come back.
func TestRestore(t *testing.T) {
	var g Gate
	m := Message{ID: "i", Event: record.QuietNotice, State: "began", Kiln: "big-blue"}
	g.Restore(m, at(0))
	if g.Pass(m, at(1)) {
		t.Error("told twice")
	}
	if got := g.Look(at(30)); len(got) != 0 {
		t.Errorf("cleared while it stands: %v", got)
	}
	var h Gate
	h.Restore(m, at(0))
	got := h.Look(at(11))
	if len(got) != 1 || got[0].State != "cleared" || got[0].ID == m.ID || got[0].Says == "" {
		t.Errorf("after a restart without it: %v", got)
	}
}

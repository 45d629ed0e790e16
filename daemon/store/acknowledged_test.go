package store

import (
	"fmt"
	"testing"
	"time"

	"lidwright/kiln"
)

// acknowledged is what a child said of itself: the judge of what is found after it.
type acknowledged struct {
	entries map[int]bool
	samples map[int]int // of each firing
	ended   map[int]bool
	lives   int // of the child: in each one answer may be lost on its way
}

func nothingYet() *acknowledged {
	return &acknowledged{entries: map[int]bool{}, samples: map[int]int{}, ended: map[int]bool{}}
}

// hear takes a line of a child in; one that was cut off is not said.
func (a *acknowledged) hear(line string) {
	var n, to int
	if c, _ := fmt.Sscanf(line, "r %d", &n); c == 1 {
		a.entries[n] = true
	} else if c, _ := fmt.Sscanf(line, "s %d %d", &n, &to); c == 2 {
		a.samples[n] = max(a.samples[n], to)
	} else if c, _ := fmt.Sscanf(line, "e %d", &n); c == 1 {
		a.ended[n] = true
	}
}

// judge opens what was left and holds it against what was acknowledged: whole, nothing lost of
// what was said to be there, and of samples at most one batch more than that. It gives what is
// wrong, nothing if all is well.
func (a *acknowledged) judge(t *testing.T, folder string) (wrong []string) {
	t.Helper()
	say := func(format string, args ...any) { wrong = append(wrong, fmt.Sprintf(format, args...)) }
	s, err := Open(t.Context(), folder)
	if err != nil {
		say("it does not open: %v", err)
		return wrong
	}
	defer s.Close()
	if !s.Report().Clean() {
		say("it was damaged: %s", s.Report().Words())
	}
	if err := check(t.Context(), s.read, `PRAGMA integrity_check`); err != nil {
		say("it opened damaged: %v", err)
	}
	rows, err := s.read.Query(`SELECT id FROM reading`)
	if err != nil {
		say("%v", err)
		return wrong
	}
	ids, err := collect(rows, "readings", func(id *string) error { return rows.Scan(id) })
	if err != nil {
		say("%v", err)
	}
	there := map[string]bool{}
	for _, id := range ids {
		there[id] = true
	}
	for n := range a.entries {
		if !there[uuid('r', n)] {
			say("entry %d was acknowledged and is lost", n)
		}
	}
	if len(ids) > len(a.entries)+a.lives {
		say("%d entries are there, %d were acknowledged", len(ids), len(a.entries))
	}
	for n, want := range a.samples {
		m, f := childFiring(t, n)
		got, err := s.Samples(t.Context(), f.ID)
		if err != nil {
			say("firing %d: %v", n, err)
			continue
		}
		if len(got) < want || len(got) > want+int(childBatch/time.Second) || !same(got, m.samples(f.Kiln, f.Began, 0, time.Duration(len(got))*time.Second)) {
			say("firing %d: %d samples were acknowledged and %d are there", n, want, len(got))
		}
		if kept, err := s.Firing(t.Context(), f.ID); a.ended[n] && (err != nil || kept.Status != kiln.Ended) {
			say("firing %d had ended and is %s, %v", n, kept.Status, err)
		}
	}
	// A cut in mid-write leaves an entry that was not acknowledged and is not whole: it is told, to be sure.
	if h, err := s.Health(); err != nil || len(h.Trouble) > 0 && !s.report.torn {
		say("health: %v %v", h.Trouble, err)
	}
	return wrong
}

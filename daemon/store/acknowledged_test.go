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
	carried int // the last carry file that was taken in, counted from 1
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
	} else if c, _ := fmt.Sscanf(line, "c %d", &n); c == 1 {
		a.carried = max(a.carried, n+1)
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
	rows, err := s.read.Query(`SELECT id FROM reading WHERE bar = 'BQ7'`)
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
		if len(got) < want || len(got) > want+int(childBatch/time.Second) ||
			!same(got, m.samples(f.Kiln, f.Began, 0, time.Duration(len(got))*time.Second)) {
			say("firing %d: %d samples were acknowledged and %d are there", n, want, len(got))
		}
		if kept, err := s.Firing(t.Context(), f.ID); a.ended[n] && (err != nil || kept.Status != kiln.Ended) {
			say("firing %d had ended and is %s, %v", n, kept.Status, err)
		}
	}
	// Of another site all that came in one file is there, or nothing: two bars with two readings each and a
	// firing.
	for what, want := range map[string]int{`bar WHERE code <> 'BQ7'`: 2, `reading WHERE bar <> 'BQ7'`: 4,
		`firing WHERE id LIKE '%-8061-%'`: 1} {
		if n := count(t, s, `SELECT count(*) FROM `+what); n < want*a.carried || n%want != 0 {
			say("%d files were carried in and acknowledged, and there are %d of %s", a.carried, n, what)
		}
	}
	// A cut in mid-write leaves an entry that was not acknowledged and is not whole: it is told, to be sure.
	if h, err := s.Health(); err != nil || len(h.Trouble) > 0 && !s.report.torn {
		say("health: %v %v", h.Trouble, err)
	}
	return wrong
}

package store

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// disk is a folder on a card that keeps its word: what was synced stays, and of what was not any
// part may be there after the power is cut, in any order.
type disk struct {
	folder  string
	names   map[string]*file // as the process sees them
	durable map[string]*file // as they stand on the card
	turns   []turn           // of names, since the folder was synced
}

// turn is a change of names that is not synced.
type turn struct {
	folder string
	apply  func(map[string]*file)
}

type file struct {
	synced []byte
	since  []step // not synced
	order  []int  // the number of each of them
}

func newDisk(folder string) *disk {
	return &disk{folder: folder, names: map[string]*file{}, durable: map[string]*file{}}
}

// now is what the process sees in the file.
func (f *file) now() []byte {
	b := slices.Clone(f.synced)
	for _, s := range f.since {
		b = s.on(b)
	}
	return b
}

// on is what a write or a cut makes of b.
func (s step) on(b []byte) []byte {
	if s.what == "cut" {
		return append(b[:min(int(s.off), len(b)):len(b)], make([]byte, max(0, int(s.off)-len(b)))...)
	}
	if short := int(s.off) + len(s.data) - len(b); short > 0 {
		b = append(b, make([]byte, short)...)
	}
	copy(b[s.off:], s.data)
	return b
}

func (d *disk) turn(folder string, apply func(map[string]*file)) {
	apply(d.names)
	d.turns = append(d.turns, turn{folder, apply})
}

// do does the i-th of all steps.
func (d *disk) do(steps []step, i int) {
	s := steps[i]
	f := d.names[s.path]
	switch s.what {
	case "create":
		if f == nil {
			made := &file{}
			d.turn(filepath.Dir(s.path), func(n map[string]*file) { n[s.path] = made })
		} else if s.to == "emptied" {
			f.add(step{what: "cut"}, i)
		}
	case "write":
		if s.off < 0 {
			s.off = int64(len(f.now()))
		}
		f.add(s, i)
	case "cut":
		f.add(s, i)
	case "rename":
		d.turn(filepath.Dir(s.path), func(n map[string]*file) {
			if f := n[s.path]; f != nil {
				n[s.to] = f
				delete(n, s.path)
			}
		})
	case "unlink":
		d.turn(filepath.Dir(s.path), func(n map[string]*file) { delete(n, s.path) })
	case "sync":
		if f != nil {
			f.sync(s.begun)
			return
		}
		left := d.turns[:0]
		for _, t := range d.turns { // it is a folder
			if t.folder == s.path {
				t.apply(d.durable)
			} else {
				left = append(left, t)
			}
		}
		d.turns = left
	}
}

func (f *file) add(s step, i int) { f.since, f.order = append(f.since, s), append(f.order, i) }

// sync puts on the card what had ended when the sync began.
func (f *file) sync(begun int) {
	n := 0
	for n < len(f.order) && f.order[n] < begun {
		f.synced = f.since[n].on(f.synced)
		n++
	}
	f.since, f.order = slices.Clone(f.since[n:]), slices.Clone(f.order[n:])
}

// cut lays out a folder as it may be found after the power was cut now. Of what is not synced,
// parts of unit bytes are there or not, each by chance; spoil also fills, by chance, the rest of
// each block of 4 KiB that was being written with garbage.
func (d *disk) cut(to string, rng *rand.Rand, spoil bool) error {
	names := map[string]*file{}
	for path, f := range d.durable {
		names[path] = f
	}
	for _, t := range d.turns[:rng.IntN(len(d.turns)+1)] { // a file system keeps the order of these
		t.apply(names)
	}
	unit := int64(512)
	if rng.IntN(2) == 0 {
		unit = 4096
	}
	chance := []float64{0, 0.5, 1, rng.Float64()}[rng.IntN(4)]
	var errs error
	for path, f := range names {
		b := slices.Clone(f.synced)
		last := len(f.since)
		if rng.IntN(2) == 0 {
			last = rng.IntN(last + 1) // in order up to here, and then by chance
		}
		for i, s := range f.since {
			switch {
			case i < last && chance > 0:
				b = s.on(b)
			case s.what == "cut":
				if rng.Float64() < chance {
					b = s.on(b)
				}
			default:
				for from := s.off; from < s.off+int64(len(s.data)); {
					end := min(from/unit*unit+unit, s.off+int64(len(s.data)))
					if rng.Float64() < chance {
						b = step{off: from, data: s.data[from-s.off : end-s.off]}.on(b)
					}
					if spoil && rng.IntN(2) == 0 {
						garble(b, from, end, rng)
					}
					from = end
				}
			}
		}
		inside, err := filepath.Rel(d.folder, path)
		if err != nil {
			return err
		}
		where := filepath.Join(to, inside)
		if err := os.MkdirAll(filepath.Dir(where), 0o700); err != nil {
			return err
		}
		if err := os.WriteFile(where, b, 0o600); err != nil {
			errs = err
		}
	}
	return errs
}

// garble fills what lies beside from and end in their block of 4 KiB with garbage.
func garble(b []byte, from, end int64, rng *rand.Rand) {
	start := from / 4096 * 4096
	for at := start; at < min(start+4096, int64(len(b))); at++ {
		if at < from || at >= end {
			b[at] = byte(rng.Int())
		}
	}
}

// TestPowerCut cuts the power of a recorded process, which makes copies and carries another site in
// meanwhile, at random moments: on a card that keeps its
// word nothing is damaged, nothing acknowledged is lost, and what has the name of a copy is a whole one.
func TestPowerCut(t *testing.T) {
	folder := t.TempDir()
	steps := writeDown(t, folder)
	// Played to its end without any cut, the record gives the very files that the process left;
	// otherwise the cuts would see nothing.
	d, seen := newDisk(folder), 0
	for i := range steps {
		d.do(steps, i)
	}
	for path, f := range d.names {
		want := must[[]byte](t)(os.ReadFile(path))
		if got := f.now(); !bytes.Equal(got, want) {
			t.Fatalf("%s: %d bytes from the record, %d on the disk", path, len(got), len(want))
		}
		seen += len(want)
	}
	if seen < 300_000 || len(steps) < 5000 {
		t.Fatalf("%d steps and %d bytes: that cannot be all", len(steps), seen)
	}
	cutAll(t, folder, steps, rounds(40, 1000), false)
	cutAll(t, folder, steps, rounds(20, 1000), true)
}

func cutAll(t *testing.T, folder string, steps []step, states int, spoil bool) (corrupt, lost int) {
	t.Helper()
	rng := rand.New(rand.NewPCG(4, 7))
	moments := make([]int, states)
	var copying []int // steps that make copies
	for i, s := range steps {
		if strings.HasPrefix(s.path, filepath.Join(folder, copiesFolder)) {
			copying = append(copying, i)
		}
	}
	for i := range moments {
		switch moments[i] = rng.IntN(len(steps)); i % 4 {
		case 0:
			moments[i] = rng.IntN(min(200, len(steps))) // the first start has forms of its own
		case 1:
			moments[i] = copying[rng.IntN(len(copying))]
		}
	}
	slices.Sort(moments)
	d, said := newDisk(folder), nothingYet()
	said.lives = 1
	next := 0
	for _, moment := range moments {
		for ; next <= moment; next++ {
			if steps[next].what == "say" {
				said.hear(string(steps[next].data))
			}
			d.do(steps, next)
		}
		found := filepath.Join(t.TempDir(), "found")
		if err := os.Mkdir(found, 0o700); err != nil {
			t.Fatal(err)
		}
		if err := d.cut(found, rng, spoil); err != nil {
			t.Fatal(err)
		}
		for _, c := range must[[]string](t)(copiesOf(found)) {
			if err := checkCopy(t.Context(), c); err != nil {
				t.Errorf("cut after step %d: %v", moment, err)
			}
		}
		wrong := said.judge(t, found)
		for _, w := range wrong {
			t.Errorf("cut after step %d of %d: %s", moment, len(steps), w)
		}
		all := fmt.Sprint(wrong)
		if strings.Contains(all, "damaged") || strings.Contains(all, "open") {
			corrupt++
		}
		if strings.Contains(all, "acknowledged") {
			lost++
		}
		os.RemoveAll(found)
	}
	t.Logf("%d states: %d corrupt, %d with something acknowledged lost; at the last %d entries, %d firings",
		states, corrupt, lost, len(said.entries), len(said.samples))
	return corrupt, lost
}

package store

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"lidwright/api/usecase"
	"lidwright/tiles"
)

// TestSecondPlace: the newest copies stand in a second folder too; a stick that is not there costs
// no copy, is never made, and is caught up with when it is back.
func TestSecondPlace(t *testing.T) {
	folder, stick := t.TempDir(), filepath.Join(t.TempDir(), "stick")
	s := must[*Store](t)(Settings{Copies: 2, Second: stick}.Open(t.Context(), folder))
	defer s.Close()
	say := func(id string) {
		must[tiles.PutResult](t)(s.PutClay(t.Context(), tiles.Clay{ID: tiles.ClayID(id), Name: "x"},
			usecase.Precondition{}, when))
	}
	say("away")
	made, err := s.Copy(t.Context())
	if !made || !errors.Is(err, usecase.ErrBusy) || !strings.Contains(err.Error(), stick) {
		t.Errorf("without the stick: made %v, %v", made, err)
	}
	if _, err := os.Stat(stick); !errors.Is(err, os.ErrNotExist) {
		t.Error("the folder of the stick was made on the card")
	}
	if h := must[Health](t)(s.Health()); h.Copies != 1 || len(h.Trouble) != 1 ||
		!strings.Contains(h.Trouble[0].String(), "second place") {
		t.Errorf("health %+v", h)
	}
	if err := os.Mkdir(stick, 0o700); err != nil {
		t.Fatal(err)
	}
	if made, err := s.Copy(t.Context()); made || err != nil {
		t.Errorf("nothing changed, the stick is back: made %v, %v", made, err)
	}
	for _, id := range []string{"b", "c", "d"} {
		say(id)
		if made, err := s.Copy(t.Context()); !made || err != nil {
			t.Fatalf("made %v, %v", made, err)
		}
	}
	all := must[[]CopyKept](t)(s.Copies())
	if len(all) != 4 || all[0].Second || !all[2].Second ||
		filepath.Base(all[0].Path) != filepath.Base(all[2].Path) || all[0].Bytes == 0 ||
		all[0].Bytes != all[2].Bytes {
		t.Errorf("copies %+v", all)
	}
	if h := must[Health](t)(s.Health()); len(h.Trouble) != 0 {
		t.Errorf("trouble %v", h.Trouble)
	}

	// A rescue on another card: the newest that is good, though the newest of all is not.
	elsewhere := t.TempDir()
	if err := os.Truncate(all[2].Path, 5000); err != nil {
		t.Fatal(err)
	}
	copied, aside, err := Restore(t.Context(), elsewhere, stick, day)
	if err != nil || copied != all[3].Path || len(aside) != 0 {
		t.Fatalf("restored %s, aside %v, %v", copied, aside, err)
	}
	r := must[*Store](t)(Open(t.Context(), elsewhere))
	defer r.Close()
	if n := len(must[[]tiles.KeptClay](t)(r.Clays(t.Context()))); n != 3 || !r.Report().Clean() {
		t.Errorf("%d clays, %s", n, r.Report().Words())
	}
}

// TestRestoreRefused: what is no copy, a stick without one, a card without room: the words say so
// and the store is as it was.
func TestRestoreRefused(t *testing.T) {
	folder := t.TempDir()
	s := must[*Store](t)(Open(t.Context(), folder))
	furnish(t, s)
	must[bool](t)(s.Copy(t.Context()))
	good := must[[]string](t)(copiesOf(folder))[0]
	s.Close()
	before := must[[]byte](t)(os.ReadFile(filepath.Join(folder, fileName)))
	stick := t.TempDir()
	bad := filepath.Join(stick, "lidwright-000007-20260109T090000Z.db")
	if err := os.WriteFile(bad, []byte("holiday pictures"), 0o600); err != nil {
		t.Fatal(err)
	}
	for from, words := range map[string]string{t.TempDir(): "nor in copies in it", stick: bad, bad: bad,
		filepath.Join(stick, "missing"): "missing"} {
		if _, _, err := Restore(t.Context(), folder, from, day); !errors.Is(err, ErrNoCopy) ||
			!strings.Contains(err.Error(), words) {
			t.Errorf("%s: %v", from, err)
		}
	}
	// nothing can be written there
	if err := os.Mkdir(filepath.Join(folder, fileName+".part"), 0o700); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Restore(t.Context(), folder, good, day); err == nil || !strings.Contains(err.Error(),
		"the store is as it was") {
		t.Errorf("no room: %v", err)
	}
	if now := must[[]byte](t)(os.ReadFile(filepath.Join(folder, fileName))); string(now) != string(before) {
		t.Error("the store is another one")
	}
}

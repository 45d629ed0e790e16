package usecase

import (
	"errors"
	"testing"
)

// What people noted is read once until more is noted; an error, and what was noted meanwhile, have it read
// anew.
func TestMemo(t *testing.T) {
	var m Memo[int]
	at, made := uint64(7), 0
	noted := func() uint64 { return at }
	read := func() (int, error) { made++; return made, nil }
	for range 3 {
		if v, err := m.Of(noted, read); v != 1 || err != nil {
			t.Fatalf("kept %d, %v", v, err)
		}
	}
	at++
	if v, err := m.Of(noted, func() (int, error) { at++; return read() }); v != 2 || err != nil {
		t.Errorf("after something was noted %d, %v, want 2", v, err)
	}
	if v, _ := m.Of(noted, read); v != 3 {
		t.Errorf("noted while it was made: %d, want 3", v)
	}
	at++
	if _, err := m.Of(noted, func() (int, error) { return 0, errors.New("gone") }); err == nil {
		t.Error("an error is not told")
	}
	if v, err := m.Of(noted, read); v != 4 || err != nil {
		t.Errorf("after an error %d, %v, want 4", v, err)
	}
	if v, _ := m.Of(nil, read); v != 5 {
		t.Errorf("with nobody to tell what was noted %d, want 5", v)
	}
}

package store

import (
	"fmt"
	"testing"
	"time"
)

// Sessions are kept over a restart, end when told, and do not grow without bound.
func TestSessions(t *testing.T) {
	ctx, folder := t.Context(), t.TempDir()
	s, err := Open(ctx, folder)
	if err != nil {
		t.Fatal(err)
	}
	until := time.Date(2026, 8, 1, 12, 0, 0, 0, time.UTC)
	for i := range mostSessions + 10 {
		if err := s.KeepSession(ctx, fmt.Appendf(nil, "key %d", i), "mark",
			until.Add(time.Duration(i)*time.Second)); err != nil {
			t.Fatal(err)
		}
	}
	// One that is there ends later, and those of another code are none of the count.
	if err := s.KeepSession(ctx, []byte("key 20"), "mark", until.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if err := s.KeepSession(ctx, []byte("owner"), "other", until.Add(-time.Hour)); err != nil {
		t.Fatal(err)
	}
	if err := s.EndSession(ctx, []byte("key 100")); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if s, err = Open(ctx, folder); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for key, want := range map[string]string{"key 9": "", "key 10": "mark", "key 100": "", "key 509": "mark",
		"key 20": "mark", "owner": "other", "nobody": ""} {
		mark, ends, err := s.Session(ctx, []byte(key))
		if err != nil || mark != want || (want != "" && ends.Before(until.Add(-time.Hour))) {
			t.Errorf("%s: %q until %v, %v", key, mark, ends, err)
		}
	}
	if _, ends, _ := s.Session(ctx, []byte("key 20")); !ends.Equal(until.Add(time.Hour)) {
		t.Errorf("a session that was to end later ends at %v", ends)
	}
	if err := s.KeepSession(ctx, []byte("next year"), "mark", until.AddDate(1, 0, 0)); err != nil {
		t.Fatal(err)
	}
	if mark, _, _ := s.Session(ctx, []byte("owner")); mark != "" {
		t.Error("a session that ended long ago is kept")
	}
}

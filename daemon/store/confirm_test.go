package store

import (
	"testing"
	"time"

	"lidwright/kiln/message"
	"lidwright/tiles"
)

// TestConfirmBoth: a second reading and what it confirms are one entry, with who, when and why; said
// again it changes nothing; a first one that was struck meanwhile confirms nobody.
func TestConfirmBoth(t *testing.T) {
	s := openStore(t)
	furnish(t, s, "BQ7", "BQ4")
	odd := func(n int, code tiles.Code, mm string) tiles.Reading {
		r := reading(n, code, tiles.Dry, mm)
		r.Unusual, r.EntryError, r.Question = true, tiles.LongerThanBefore, message.New("Is {1} right?",
			"87.6 mm")
		return r
	}
	read := func(code tiles.Code) []tiles.Reading {
		return must[tiles.KeptBar](t)(s.Bar(t.Context(), code, nil)).Readings
	}
	must[tiles.PutResult](t)(s.PutReading(t.Context(), odd(1, "BQ7", "100.9"), when))
	second := odd(2, "BQ7", "100.8")
	second.Confirms, second.By = uuid('r', 1), "EM"
	must[tiles.PutResult](t)(s.PutReading(t.Context(), second, later(time.Minute)))
	last := must[int64](t)(s.LastChange(t.Context()))
	second.Confirms = "" // of the same entry sent again: the first waits no longer
	if k := must[tiles.PutResult](t)(s.PutReading(t.Context(), second, later(time.Hour))); k.New ||
		must[int64](t)(s.LastChange(t.Context())) != last {
		t.Errorf("said again: %+v", k)
	}
	for _, r := range read("BQ7") {
		if c := r.Confirmed; c == nil || c.By != "EM" || c.Why != tiles.ReadAgain ||
			!c.At.Equal(later(time.Minute).Wall) || !r.Counts() {
			t.Errorf("%s: confirmed %+v", r.AsTyped, c)
		}
	}

	must[tiles.PutResult](t)(s.PutReading(t.Context(), odd(3, "BQ4", "100.9"), when))
	if err := s.StrikeReading(t.Context(), "BQ4", uuid('r', 3), "KT", "another bar", when); err != nil {
		t.Fatal(err)
	}
	second = odd(4, "BQ4", "100.8")
	second.Confirms = uuid('r', 3)
	must[tiles.PutResult](t)(s.PutReading(t.Context(), second, later(time.Minute)))
	for _, r := range read("BQ4") {
		if r.Confirmed != nil || r.Counts() {
			t.Errorf("%s: confirmed by a struck one: %+v", r.AsTyped, r.Confirmed)
		}
	}
	second = odd(5, "BQ4", "100.8")
	second.Confirms = uuid('r', 1) // of another bar
	if k, err := s.PutReading(t.Context(), second, later(time.Minute)); err == nil {
		t.Errorf("confirms a reading of another bar: %+v", k)
	}
}

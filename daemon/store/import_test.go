package store

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/tiles"
)

func largeSheet(bars int) tiles.Taken {
	sheet := tiles.Taken{There: map[tiles.Code]bool{}}
	for i := range bars {
		code := tiles.Code(fmt.Sprintf("x%05d", i))
		b := bar(code, 1000+i)
		for k, stage := range []tiles.Stage{tiles.Wet, tiles.Dry, tiles.Fired} {
			b.Readings = append(b.Readings, reading(10_000+10*i+k, code, stage, "94.35"))
		}
		sheet.Bars = append(sheet.Bars, b)
	}
	return sheet
}

// A batch of a firing that comes while a large table is being taken in waits for it and is kept
// well within the 30 s that the recorder gathers; what the table is about to write may not be told
// to somebody who keeps it waiting.
func TestRecorderDuringAnImport(t *testing.T) {
	s := openStore(t)
	furnish(t, s)
	f := kiln.Firing{ID: kiln.FiringID(uuid('f', 1)), Kiln: "big-blue", Began: when}
	must[int](t)(s.BeginFiring(t.Context(), f, nil))
	batch := []kiln.Sample{{At: later(time.Second), Values: []kiln.Value{{Channel: "1", T: 100}}}}
	appended := make(chan error, 1)
	begun := false
	err := s.KeepSheet(t.Context(), largeSheet(1500), when, func(int, int) {
		if begun {
			return
		}
		begun = true
		go func() {
			ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
			defer cancel()
			appended <- s.AppendCurve(ctx, f.ID, batch)
		}()
	})
	if err != nil || !begun {
		t.Fatal(err, begun)
	}
	if err := <-appended; err != nil {
		t.Errorf("the recorder's batch: %v", err)
	}
	bars, err := s.Bars(t.Context(), tiles.BarFilter{}, oneProbe)
	if err != nil || len(bars) != 1500 || len(bars[7].Readings) != 3 {
		t.Errorf("%d bars, %v", len(bars), err)
	}
}

// A bar that somebody kept between the look and the writing is not written over, and nothing of the
// table stays.
func TestTableMeetsABar(t *testing.T) {
	s := openStore(t)
	furnish(t, s, "x00149")
	err := s.KeepSheet(t.Context(), largeSheet(150), when, nil)
	if !errors.Is(err, tiles.ErrCodeTaken) {
		t.Errorf("%v, want %v", err, tiles.ErrCodeTaken)
	}
	bars, err := s.Bars(t.Context(), tiles.BarFilter{}, oneProbe)
	if err != nil || len(bars) != 1 || len(bars[0].Readings) != 0 {
		t.Errorf("%d bars, %v", len(bars), err)
	}
}

package api

import (
	"fmt"
	"math"
	"net/http"
	"strings"
	"testing"

	"lidwright/api/wire"
	"lidwright/kiln/message"
)

func noRedirect(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }

// A board of lids is kept with its limits, teaches the lid difference of its form, enters the
// next lid answer, and leaves no trace once struck.
func TestLidResultsTeachTheNextLid(t *testing.T) {
	s := testStudio(t)
	lid := "/v1/lid?collar=104.5&opening=92.5&clay=tern&together=in_place&form=teapot+0.9+l&maker=KT"
	var before, after, struck wire.Lid
	s.get(lid, 200, &before)
	if *before.LidDifference.Value != 0 || before.LidDifference.Fits != 0 ||
		math.Abs(*before.LidDifference.Likely[1]-0.0066) > 2e-4 || before.AnswersHeld != nil {
		t.Fatalf("before any lid: %+v, held %v", before.LidDifference, before.AnswersHeld)
	}
	pots := s.pots(1, 12, 104.5, 92.5, 102.5, 102.5)
	body := `{"load":"` + glazeLoad + `","pots":` + quoted(pots) +
		`,"counts":{"good":3,"loose":8,"tight":0},"losses":{"rocks":1},"plays_mm":[2.4,2.6],"by":"AB"}`
	var kept wire.LidResultKept
	s.put("/v1/lid-results/"+s.id("v", 1), body, 201, &kept)
	if kept.Form != "teapot 0.9 l" || kept.Maker != "KT" || kept.Body != "tern/B" || kept.Seat != "inset" ||
		*kept.LeastPlayMM != 1 || *kept.MostPlayMM < 2.2 || *kept.BearingMM != 1 || !kept.Teaches {
		t.Errorf("%+v", kept)
	}
	if *kept.LidDifference.Value <= 0.001 || kept.LidDifference.Fits != 11 || len(kept.Cautions) != 0 {
		t.Errorf("eleven looked at, eight of them loose: %+v, cautions %v", kept.LidDifference, kept.Cautions)
	}
	s.put("/v1/lid-results/"+s.id("v", 1), body, 200, nil)
	s.get(lid, 200, &after)
	if *after.LidDifference.Value != *kept.LidDifference.Value || *after.UnroundedMM <= *before.UnroundedMM ||
		*after.DoubtMM.LidDifference >= *before.DoubtMM.LidDifference {
		t.Errorf("the next lid: %+v, %.3f after %.3f", after.LidDifference,
			*after.UnroundedMM, *before.UnroundedMM)
	}
	if after.AnswersHeldOf != 2 {
		t.Errorf("%d plays scored", after.AnswersHeldOf)
	}
	s.put("/v1/lid-results/"+s.id("v", 1)+"/strike", `{"why":"wrong board","by":"AB"}`, 200, nil)
	s.get(lid, 200, &struck)
	if *struck.LidDifference.Value != 0 || *struck.UnroundedMM != *before.UnroundedMM ||
		struck.AnswersHeldOf != 0 {
		t.Errorf("struck: %+v", struck.LidDifference)
	}
	var list wire.LidResults
	s.get("/v1/lid-results?form=teapot+0.9+l", 200, &list)
	if len(list.Items) != 1 || list.Items[0].Struck == nil || list.Items[0].Teaches || len(list.Tally) != 0 {
		t.Errorf("%+v", list)
	}
}

// Tight lids bring the cautions of grinding, there and on the next lid of the form; a biased board
// is shown and left out; what is not looked at is filled in.
func TestTightAndBiasedBoards(t *testing.T) {
	s := testStudio(t)
	pots := s.pots(1, 12, 104.5, 92.5, 102.5, 102.5)
	var kept wire.LidResultKept
	s.put("/v1/lid-results/"+s.id("v", 1), `{"pots":`+quoted(pots)+`,"counts":{"tight":2,"too_big":1}}`, 201,
		&kept)
	if kept.Teaches || !strings.Contains(kept.TeachesWhy.String(), "only some were told") ||
		kept.Counts.NotLookedAt != 9 || *kept.LidDifference.Value != 0 {
		t.Errorf("3 of 12 looked at: %+v", kept)
	}
	if fmt.Sprint(kept.Cautions) != "[wet-grinding eye-protection]" ||
		!strings.Contains(message.Join(" ", kept.Says...).String(), "no load named") {
		t.Errorf("cautions %v, says %v", kept.Cautions, kept.Says)
	}
	var lid wire.Lid
	s.get("/v1/lid?collar=104.5&opening=92.5&clay=tern&form=teapot+0.9+l", 200, &lid)
	if !strings.Contains(strings.Join(lid.Cautions, " "), "wet-grinding") {
		t.Errorf("cautions of the next lid: %v", lid.Cautions)
	}
	var list wire.LidResults
	s.get("/v1/lid-results", 200, &list)
	if list.LeftOut != 1 || len(list.Tally) != 1 || list.Tally[0].Counts.Tight != 2 {
		t.Errorf("%+v", list)
	}
	// without any card it is kept and teaches nothing, and says so
	s.put("/v1/lid-results/"+s.id("v", 2), `{"form":"jar","body":"tern/B","counts":{"good":5}}`, 201, &kept)
	if kept.Teaches || !strings.Contains(kept.TeachesWhy.String(), "no pot card") || kept.LeastPlayMM != nil {
		t.Errorf("%+v", kept)
	}
}

// What cannot be is refused in words with the field, and nothing of it is kept.
func TestLidResultsThatCannotBe(t *testing.T) {
	s := testStudio(t)
	cards := s.pots(1, 3, 104.5, 98, 102.5, 102.5)
	pots, one := quoted(cards), `"`+cards[0]+`"`
	for i, c := range []struct {
		body, kind, field, says string
		status                  int
	}{
		{`{"pots":` + pots + `,"counts":{"good":4}}`, "out-of-range", "counts",
			"4 lids told of, the board had 3", 422},
		{`{"pots":` + pots + `,"lids":2,"counts":{"good":2},"losses":{"rocks":1}}`, "out-of-range",
			"counts", "3 lids told of", 422},
		{`{"pots":` + pots + `,"counts":{}}`, "", "", "", 201}, // a board nobody looked at is a board
		{`{"form":"jar","body":"tern/B","counts":{}}`, "missing", "counts", "no lid was counted", 422},
		{`{"pots":` + pots + `,"counts":{"good":3},"plays_mm":[4.8]}`, "out-of-range", "plays_mm",
			"more than the ledge is wide", 422},
		{`{"pots":` + pots + `,"counts":{"good":2,"drops_in":1},"plays_mm":[4.8]}`, "", "", "", 201},
		{`{"pots":` + pots + `,"counts":{"good":3},"plays_mm":[1,1,1,1]}`, "out-of-range", "plays_mm",
			"4 plays measured, 3 lids counted", 422},
		{`{"pots":` + pots + `,"counts":{"good":3},"plays_mm":[400]}`, "out-of-range", "plays_mm", "", 422},
		{`{"pots":` + pots + `,"counts":{"good":-3}}`, "out-of-range", "counts.good", "", 422},
		{`{"pots":` + pots + `,"counts":{"good":3},"load":"0193a0b0-0000-7000-8000-0000000000ff"}`,
			"unknown-load", "", "no such load", 404},
		{`{"pots":["0193a0b0-0000-7000-8000-0000000000ee"],"counts":{"good":1}}`, "unknown-pot", "", "", 404},
		{`{"form":"jar","body":"wren/B","counts":{"good":1}}`, "unknown-clay", "", "", 404},
		{`{"form":"jar","counts":{"good":1}}`, "missing", "body", "", 422},
		{`{"body":"tern/B","counts":{"good":1}}`, "missing", "form", "", 422},
		{`{"pot":` + one + `,"counts":{"good":1}}`, "", "", "", 201},
		{`{"pot":null,"pots":` + pots + `,"counts":{"good":3}}`, "", "", "", 201},
		{`{"pot":` + one + `,"counts":{"good":2}}`, "out-of-range", "counts",
			"2 lids told of, the board had 1", 422},
		{`{"pot":` + one + `,"pots":` + pots + `,"counts":{"good":3}}`, "given-twice", "pot", "", 422},
		{`{"pots":` + pots + `,"counts":{"great":1}}`, "unknown-parameter", "", "", 422},
		{`{"pots":` + pots + `,"counts":{"good":1.5}}`, "", "", "", 422},
	} {
		path := "/v1/lid-results/" + s.id("w", i)
		said := s.put(path, c.body, c.status, nil)
		if c.kind != "" && !strings.Contains(said, `"/problems/`+c.kind+`"`) ||
			!strings.Contains(said, c.says) || c.field != "" && !strings.Contains(said,
			`"name":"`+c.field+`"`) {
			t.Errorf("%s\n%s", c.body, said)
		}
		if c.status != 201 && !strings.Contains(said, `"instance":"`+path+`"`) {
			t.Errorf("it does not say where: %s", said)
		}
		var list wire.LidResults
		s.get("/v1/lid-results?limit=500", 200, &list)
		kept := false
		for _, v := range list.Items {
			kept = kept || v.ID == s.id("w", i)
		}
		if kept != (c.status == 201) {
			t.Errorf("%s: kept %t", c.body, kept)
		}
	}
	s.put("/v1/lid-results/"+s.id("w", 0)+"/strike", `{"why":"none"}`, 404, nil)
	s.put("/v1/lid-results/"+s.id("w", 2)+"/strike", `{"why":""}`, 422, nil)
	s.put("/v1/lid-results/not-an-id", `{"form":"jar","body":"tern/B","counts":{"good":1}}`, 422, nil)
}

// The maker's own accuracy comes from lids measured once after throwing, is named, and is used.
func TestMakersOwnAccuracy(t *testing.T) {
	s := testStudio(t)
	for i := range 30 { // thrown within a tenth of what was told
		s.pots(100+i, 1, 104.5, 92.5, 102.5, 102.5+[]float64{0.1, -0.1, 0}[i%3])
	}
	var usual, own wire.Lid
	s.get("/v1/lid?collar=104.5&opening=92.5&clay=tern&maker=XY", 200, &usual)
	s.get("/v1/lid?collar=104.5&opening=92.5&clay=tern&maker=KT", 200, &own)
	if usual.Asked.AccuracyFrom != "default" || own.Asked.AccuracyFrom != "learned" ||
		*own.Asked.ThrowSDMM >= *usual.Asked.ThrowSDMM || *own.DoubtMM.Throwing >= *usual.DoubtMM.Throwing {
		t.Errorf("usual %s %.2f, own %s %.2f", usual.Asked.AccuracyFrom, *usual.Asked.ThrowSDMM,
			own.Asked.AccuracyFrom, *own.Asked.ThrowSDMM)
	}
	var list wire.LidResults
	s.get("/v1/lid-results", 200, &list)
	if len(list.Makers) != 1 || list.Makers[0].Maker != "KT" || list.Makers[0].Lids != 30 ||
		list.Makers[0].Readings != 0 {
		t.Errorf("%+v", list.Makers)
	}
	// A play for every pot of a board tells how true the reading is: here all are alike.
	ids := s.pots(200, 8, 104.5, 92.5, 102.5, 102.5)
	s.put("/v1/lid-results/"+s.id("v", 9),
		`{"pots":`+quoted(ids)+`,"form":"teapot 0.9 l","maker":"KT","body":"tern/B","lid":"tern/B","counts":{"good":8},"plays_mm":[1.7,1.7,1.7,1.7,1.7,1.7,1.7,1.7]}`, 201, nil)
	var after wire.LidResults
	s.get("/v1/lid-results", 200, &after)
	if m := after.Makers[0]; m.Readings != 7 || *m.MeasureSD >= *list.Makers[0].MeasureSD {
		t.Errorf("%+v, before %+v", m, list.Makers[0])
	}
}

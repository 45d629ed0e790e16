package store

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/tiles"
)

// TestForgottenIsErased: after a maker is forgotten no byte of the store, its log and the newest copy has
// the mark; the older copies that have it are named, and none has it once they are renewed, with every
// other row as it was. Marks stood in pages that were emptied and used again meanwhile.
func TestForgottenIsErased(t *testing.T) {
	const mark = "QX7ZKW9J" // eight letters that come up nowhere by chance
	ctx, folder, second := t.Context(), t.TempDir(), t.TempDir()
	at := when
	s := must[*Store](t)(Settings{Now: func() kiln.Stamp { return at }, Second: second}.Open(ctx, folder))
	defer s.Close()
	must[string](t)(s.SiteID(ctx, uuid('s', 1)))
	furnish(t, s, "BQ7")
	for i := range 300 {
		r := reading(i, "BQ7", tiles.Fired, "87.60")
		r.By = []string{mark, "KT"}[i%2]
		must[tiles.PutResult](t)(s.PutReading(ctx, r, later(time.Duration(i)*time.Second)))
		p := potCard(i)
		p.ID, p.Mark = uuid('p', i), mark
		must[tiles.PutResult](t)(s.PutPot(ctx, p, usecase.Precondition{}, when))
		if i%3 == 0 { // its row moves, and its words change
			p.Form = strings.Repeat("jar ", 1+i%12)
			must[tiles.PutResult](t)(s.PutPot(ctx, p, usecase.Precondition{}, when))
		}
		if i%5 == 0 {
			if err := s.StrikeReading(ctx, "BQ7", uuid('r', i), mark, "the wrong bar", when); err != nil {
				t.Fatal(err)
			}
		}
		if i%100 == 50 {
			at = after(at, time.Hour)
			must[bool](t)(s.Copy(ctx))
		}
	}
	must[tiles.PutResult](t)(s.PutLoad(ctx,
		tiles.Load{ID: uuid('l', 1), Kiln: "big-blue", Kind: kiln.Glaze, Atmosphere: kiln.Oxidation,
			PackedBy: mark, Bars: []tiles.Placed{{Bar: "BQ7", Shelf: "top"}}}, usecase.Precondition{}, when))
	v := lidBoard(1)
	v.Load, v.Maker, v.By = "", mark, mark
	must[tiles.PutResult](t)(s.PutLidResult(ctx, v, when))
	has := func(path string) int {
		return bytes.Count(bytes.ToUpper(must[[]byte](t)(os.ReadFile(path))), []byte(mark))
	}
	if has(s.path())+has(s.path()+"-wal") == 0 {
		t.Fatal("the mark is nowhere: the test sees nothing")
	}
	before := must[[]string](t)(copiesOf(folder))
	was := rowsOf(t, must[*Store](t)(Read(ctx, folder)).read, nil)
	at = after(at, time.Hour)
	must[int](t)(s.ForgetMaker(ctx, mark, when))
	must[bool](t)(s.Copy(ctx))
	for _, path := range []string{s.path(), s.path() + "-wal", must[[]string](t)(copiesOf(folder))[0],
		must[[]string](t)(copiesIn(second))[0]} {
		if n := has(path); n > 0 {
			t.Errorf("%s has the mark %d times", filepath.Base(path), n)
		}
	}
	for table, rows := range rowsOf(t, s.read, nil) {
		if table != "change" && len(rows) != len(was[table]) {
			t.Errorf("table %s has %d rows, %d before", table, len(rows), len(was[table]))
		}
	}
	// Somebody else is forgotten too, so that copies know of two.
	must[int](t)(s.ForgetMaker(ctx, "KT", when))
	old, _, err := s.WithForgotten(ctx)
	if err != nil || len(old) < 2*len(before) {
		t.Fatalf("older copies that have it: %v, %v", old, err)
	}
	rows := map[string]string{}
	for _, c := range old {
		db := must2(openCopy(c.Path))
		rows[c.Path] = fmt.Sprint(len(rowsOf(t, db, nil)["reading"]), len(rowsOf(t, db, nil)["change"]),
			rowsOf(t, db, nil)["clay"])
		db.Close()
	}
	if n := must[int](t)(s.RenewCopies(ctx)); n != len(old) {
		t.Errorf("%d copies were renewed of %d", n, len(old))
	}
	for _, c := range must[[]CopyKept](t)(s.Copies()) {
		if n := has(c.Path); n > 0 {
			t.Errorf("%s still has the mark %d times", c.Path, n)
		}
		if err := checkCopy(ctx, c.Path); err != nil {
			t.Error(err)
		}
	}
	for _, c := range old {
		db := must2(openCopy(c.Path))
		if now := fmt.Sprint(len(rowsOf(t, db, nil)["reading"]), len(rowsOf(t, db, nil)["change"]),
			rowsOf(t, db, nil)["clay"]); now != rows[c.Path] {
			t.Errorf("%s holds %s, and before %s", c.Path, now, rows[c.Path])
		}
		db.Close()
	}
	if old, _, err := s.WithForgotten(ctx); err != nil || len(old) > 0 {
		t.Errorf("after it: %v, %v", old, err)
	}
}

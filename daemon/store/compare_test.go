package store

import (
	"database/sql"
	"slices"
	"strings"
	"testing"

	"lidwright/api/usecase"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// TestCompare: what people say after a copy never makes the store and its copy disagree; a number that is
// another one in either of them does, by the name of its fact; and the next copy agrees again.
func TestCompare(t *testing.T) {
	ctx, folder := t.Context(), fullSite(t, 1)
	s := must[*Store](t)(Open(ctx, folder))
	if told := must[message.Message](t)(s.Compare(ctx)); !told.IsZero() {
		t.Errorf("without a copy: %v", told)
	}
	must[bool](t)(s.Copy(ctx))
	alike := func(after string) {
		t.Helper()
		if told := must[message.Message](t)(s.Compare(ctx)); !told.IsZero() {
			t.Errorf("after %s: %s", after, told)
		}
	}
	alike("the copy")
	again := reading(40, "BQ7", tiles.Fired, "93.80")
	again.ID, again.Supersedes = uuid(1, 140), uuid(1, 22)
	must[tiles.PutResult](t)(s.PutReading(ctx, again, when))
	alike("a reading in the place of another")
	if err := s.StrikeReading(ctx, "BQ7", again.ID, "KT", "wrong", when); err != nil {
		t.Fatal(err)
	}
	alike("a crossing out")
	b := bar("BQ4", 101)
	b.ID, b.Note = uuid(1, 11), "bent since"
	must[tiles.PutResult](t)(s.PutBar(ctx, b, usecase.Precondition{}, when))
	c := tern
	c.Name = "Tern, another"
	must[tiles.PutResult](t)(s.PutClay(ctx, c, usecase.Precondition{}, when))
	alike("edits of a bar and of a clay")
	if err := s.CloseLoad(ctx, uuid(1, 30), when.Wall, "KT", when); err != nil {
		t.Fatal(err)
	}
	alike("unpacking")
	must[Carried](t)(s.TakeCarry(ctx, saved(t, fullSite(t, 2)), nil, false, freeCode))
	alike("the record of another site")

	damaged := func(path, statement string) {
		t.Helper()
		db := must[*sql.DB](t)(sql.Open("sqlite", dsn("file:%s", path)))
		defer db.Close()
		if _, err := db.ExecContext(ctx, statement); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct{ in, statement, want string }{
		{s.path(), `UPDATE reading SET length_mm = length_mm + 8 WHERE id = '` + uuid(1, 21) + `'`,
			"reading " + uuid(1, 21)},
		{s.path(), `UPDATE batch SET note = 'x' WHERE clay = 'tern' AND batch = 'B'`, "batch tern/B"},
		{must[[]string](t)(copiesOf(folder))[0],
			`UPDATE firing SET began_ms = began_ms + 4096 WHERE status = 'ended'`, "firing " + uuid(1, 2)},
	} {
		damaged(c.in, c.statement)
		told := must[message.Message](t)(s.Compare(ctx)).String()
		if !strings.Contains(told, "do not agree") || !strings.Contains(told, c.want) {
			t.Errorf("%s: told is %q, want %s", c.statement, told, c.want)
		}
		if !slices.ContainsFunc(must[Health](t)(s.Health()).Alarm,
			func(m message.Message) bool { return m.String() == told }) {
			t.Errorf("%q is not kept for the owner", told)
		}
	}
	must[tiles.PutResult](t)(s.PutClay(ctx, tiles.Clay{ID: "wren", Name: "x"}, usecase.Precondition{}, when))
	must[bool](t)(s.Copy(ctx))
	alike("the next copy")
	s.Close()
}

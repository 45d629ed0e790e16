package store

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/kiln"
	"lidwright/kiln/kilntest"
	"lidwright/tiles"
)

// coded hands out codes of three letters that nobody has.
func coded3(used map[tiles.Code]bool) (tiles.Code, error) {
	const letters = "ABCDEFGHJKLMNPQRTUVWXY"
	for i := range len(letters) * len(letters) {
		c := tiles.Code([]byte{'Z', letters[i/len(letters)], letters[i%len(letters)]})
		if !used[c] {
			return c, nil
		}
	}
	return "", errors.New("none is free")
}

// month is what a studio adds in one: a bag of each clay, a bar of each, with readings, and a firing.
func month(t *testing.T, folder string, site byte, n int) {
	t.Helper()
	ctx := t.Context()
	s := must[*Store](t)(Open(ctx, folder))
	defer s.Close()
	must[string](t)(s.SiteID(ctx, uuid(site, 1)))
	own := tiles.ClayID(fmt.Sprintf("clay-%c", site))
	for i, clay := range []tiles.ClayID{"tern", own} {
		if n == 0 {
			must[tiles.PutResult](t)(s.PutClay(ctx, tiles.Clay{ID: clay, Name: "Tern stoneware"},
				usecase.Precondition{}, when))
		}
		b := batchB()
		b.BatchRef = tiles.BatchRef{Clay: clay, Batch: tiles.BatchID(rune('B' + n))}
		must[tiles.PutResult](t)(s.PutBatch(ctx, b, usecase.Precondition{}, when))
		one := bar(tiles.Code([]byte{"BC"[i], 'Q', "ABCDEFGHJKLM"[n]}), 1000*int(site)+10*n+i)
		one.ID, one.BatchRef = uuid(site, 1000+10*n+i), b.BatchRef
		must[tiles.PutResult](t)(s.PutBar(ctx, one, usecase.Precondition{}, when))
		for j, stage := range []tiles.Stage{tiles.Wet, tiles.Dry} {
			r := reading(0, one.Code, stage, fmt.Sprint(100-6*j))
			r.ID = uuid(site, 5000+100*n+10*i+j)
			must[tiles.PutResult](t)(s.PutReading(ctx, r, when))
		}
	}
	m := firingOf(t, glaze, 0.1, uint64(n))
	f := m.whole(kiln.FiringID(uuid(site, 9000+n)), "big-blue", beginning(uint64(n)))
	play(t, s, f, m.samples(f.Kiln, f.Began, 0, 10*time.Minute), 600)
}

// TestCarryEveryMonth carries several studios into one, month after month: a clay name that all have in
// common, told to be the same for one of them, a kiln name, clays of their own, one of which the collecting
// studio begins to use the name of meanwhile. Each month exactly what is new comes, once, under the names
// of the first time, beside a daemon that has the store open.
func TestCarryEveryMonth(t *testing.T) {
	ctx := t.Context()
	sites, months := rounds(3, 6), rounds(4, 12)
	home := t.TempDir()
	s := must[*Store](t)(Open(ctx, home)) // the daemon's
	defer s.Close()
	must[string](t)(s.SiteID(ctx, uuid('h', 1)))
	must[tiles.PutResult](t)(s.PutClay(ctx, tern, usecase.Precondition{}, when))
	play(t, s, firingOf(t, glaze, 0.1, 99).whole(kiln.FiringID(uuid('h', 2)), "big-blue", beginning(99)), nil,
		600)
	must[bool](t)(s.Foreign(ctx))
	var folders []string
	for range sites {
		folders = append(folders, t.TempDir())
	}
	for n := range months {
		if n == 2 { // the name that came from a: here it is another clay's bag, and stays what it is
			must[tiles.PutResult](t)(s.PutBatch(ctx,
				tiles.Batch{BatchRef: tiles.BatchRef{Clay: "clay-a", Batch: "Z"}, Kind: "bought", Open: true},
				usecase.Precondition{}, when))
		}
		for i, folder := range folders {
			site := byte('a' + i)
			month(t, folder, site, n)
			path := saved(t, folder)
			var same []string
			if i == 1 && n == 0 {
				same = []string{"clay tern"}
			}
			beside, err := Beside(ctx, home, "", 7, func() kiln.Stamp { return when })
			if err != nil {
				t.Fatal(err)
			}
			asked := must[Carried](t)(beside.TakeCarry(ctx, path, same, true, coded3))
			if proposes := fmt.Sprint(asked.Same); n == 0 && i == 0 &&
				proposes != "[clay tern kiln big-blue]" || n > 0 && proposes != "[]" {
				t.Errorf("site %c, month %d: the dry run proposes %s", site, n, proposes)
			}
			c := must[Carried](t)(beside.TakeCarry(ctx, path, same, false, coded3))
			if c.New["bar"] != 2 || c.New["reading"] != 4 || c.New["firing"] != 1 || c.New["batch"] < 2 ||
				n > 0 && (c.New["clay"] != 0 || c.New["batch"] != 2) {
				t.Errorf("site %c, month %d: %v came", site, n, c.New)
			}
			if again := must[Carried](t)(beside.TakeCarry(ctx, path, nil, false,
				coded3)); len(again.New) > 0 {
				t.Errorf("site %c, month %d: a second time %v came", site, n, again.New)
			}
			beside.Close()
			if foreign, err := s.Foreign(ctx); err != nil || !foreign {
				t.Errorf("the daemon does not notice: %v, %v", foreign, err)
			}
		}
		// both go on
		must[tiles.PutResult](t)(s.PutClay(ctx,
			tiles.Clay{ID: tiles.ClayID(fmt.Sprintf("ours-%d", n)), Name: "x"}, usecase.Precondition{}, when))
	}
	for query, want := range map[string]int{
		`SELECT count(*) FROM bar`:                           2 * sites * months,
		`SELECT count(*) FROM reading`:                       4 * sites * months,
		`SELECT count(*) FROM firing`:                        1 + sites*months,
		`SELECT count(*) FROM clay WHERE clay LIKE 'clay-_'`: sites,
		// one is the same, the others have their own
		`SELECT count(*) FROM clay WHERE clay LIKE 'tern%'`:                                                sites,
		`SELECT count(DISTINCT kiln) FROM firing`:                                                          1 + sites,
		`SELECT count(*) FROM bar WHERE clay = 'tern'`:                                                     months,
		`SELECT count(*) FROM pragma_foreign_key_check`:                                                    0,
		`SELECT count(*) FROM bar b JOIN change c ON c.seq = b.rev WHERE c.kind NOT IN ('bar', 'reading')`: 0,
	} {
		if got := count(t, s, query); got != want {
			t.Errorf("%s: %d, want %d", query, got, want)
		}
	}
	path := saved(t, folders[0])
	if _, err := s.TakeCarry(ctx, path, []string{"clay wren"}, true, coded3); !errors.Is(err, ErrSame) ||
		!strings.Contains(err.Error(), "no clay wren on both sides; there are clay clay-a, clay tern, kiln big-blue") {
		t.Errorf("a name that nobody has: %v", err)
	}
	if _, err := s.TakeCarry(ctx, path, []string{"clay tern"}, true, coded3); !errors.Is(err, ErrSame) ||
		!strings.Contains(err.Error(), "tern-2") {
		t.Errorf("a name that was renamed before: %v", err)
	}
}

// carryFiles are carry files of a site, month after month, for a child to take in.
func carryFiles(t *testing.T, months int) (folder string) {
	t.Helper()
	folder, site := t.TempDir(), t.TempDir()
	for n := range months {
		month(t, site, 'a', n)
		must[CarryManifest](t)(SaveCarry(t.Context(), site, filepath.Join(folder, fmt.Sprintf("%d.zip", n)),
			"test", day))
	}
	return folder
}

// hostile is a carry file, right in its sums, with one file that grows.
func hostile(t *testing.T, path, name string, begin string, fill []byte, times int) {
	t.Helper()
	out := must[*os.File](t)(os.Create(path))
	defer out.Close()
	z := zip.NewWriter(out)
	z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) {
		return flate.NewWriter(w, flate.BestSpeed)
	})
	w := must2(z.Create(name))
	sum := sha256.New()
	both := io.MultiWriter(w, sum)
	io.WriteString(both, begin)
	for range times {
		if _, err := both.Write(fill); err != nil {
			t.Fatal(err)
		}
	}
	if name != "manifest.json" {
		m, _ := json.Marshal(CarryManifest{Form: 1, Site: uuid('x', 1), Schema: len(schemaFiles()),
			Files: []CarryFile{{Name: name, SHA256: hex.EncodeToString(sum.Sum(nil))}}})
		must2(must2(z.Create("manifest.json")).Write(m))
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if size := must[os.FileInfo](t)(os.Stat(path)).Size(); size > 1_600_000 {
		t.Fatalf("%s has %d bytes", name, size)
	}
}

const childTakes = childVar + "_TAKES"

// takeChild takes the carry file that the environment names, and says by how many kB its memory grew.
func takeChild(folder string) error {
	s, err := Open(context.Background(), folder)
	if err != nil {
		return err
	}
	defer s.Close()
	before := peak()
	_, err = s.TakeCarry(context.Background(), os.Getenv(childTakes), nil, false, coded3)
	fmt.Println(peak()-before, err)
	return nil
}

// peak is the most memory that this process had, kB.
func peak() (kB int) {
	status, _ := os.ReadFile("/proc/self/status")
	_, after, _ := strings.Cut(string(status), "VmHWM:")
	fmt.Sscan(after, &kB)
	return kB
}

// speckled is a megabyte of a form with numbers by chance in it, so that it is packed no tighter than tables
// are.
func speckled(form string) []byte {
	rng := rand.New(rand.NewPCG(1, 9))
	var b bytes.Buffer
	for b.Len() < 1<<20 {
		fmt.Fprintf(&b, form, rng.IntN(10))
	}
	return b.Bytes()
}

// TestHostileCarry: a zip of 1.6 MB that would grow to hundreds takes no more than 64 MB of memory, is
// refused in words or taken, and leaves nothing of itself.
func TestHostileCarry(t *testing.T) {
	mega := bytes.Repeat([]byte("a"), 1<<20)
	lines := func(line string) []byte { return []byte(strings.Repeat(line, (1<<20)/len(line))) }
	const change = "seq,kind,op,id,at_ms,trusted,boot,body\r\n"
	for what, c := range map[string]struct {
		name, begin string
		fill        []byte
		times       int
	}{
		"a cell without end":  {"change.csv", change + `1,clay,put,"`, mega, 100},
		"a row of many cells": {"change.csv", change, bytes.Repeat([]byte(","), 1<<20), 100},
		"a blob":              {"curve/1.bin", "", mega, 100},
		"a manifest of many files": {"manifest.json", `{"lidwright_carry":1,"schema":3,"files":[{}`,
			bytes.Repeat([]byte(",{}"), 1<<18), 130},
		"a manifest with one word": {"manifest.json", `{"lidwright_carry":1,"schema":3,"version":"`, mega,
			100},
		"very many boots": {"boot.csv", "id,offset_ms\r\n", lines("x,1\r\n"), 200},
		"a manifest within limits": {"manifest.json", `{"lidwright_carry":1,"schema":3,"files":[{}`,
			speckled(`,{"rows":%d}`), 8},
		"a long word within limits": {"manifest.json", `{"lidwright_carry":1,"schema":3,"version":"`,
			speckled("%d" + strings.Repeat("a", 100)), 15},
		"a cell within limits": {"change.csv", change + `1,clay,put,"`,
			speckled("%d" + strings.Repeat("a", 100)), 40},
		"a blob within limits": {"curve/1.bin", "", speckled("%d" + strings.Repeat("a", 100)), 40},
	} {
		path := filepath.Join(t.TempDir(), "x.zip")
		hostile(t, path, c.name, c.begin, c.fill, c.times)
		folder := t.TempDir()
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), childVar+"="+folder, childTakes+"="+path)
		cmd.Stderr = os.Stderr
		said, err := cmd.Output()
		if err != nil {
			t.Errorf("%s: %v", what, err)
			continue
		}
		var kB int
		fmt.Sscan(string(said), &kB)
		if kB > kilntest.MemoryTimes*64<<10 || !strings.Contains(string(said), ErrCarry.Error()) &&
			!strings.HasSuffix(string(said), " <nil>\n") {
			t.Errorf("%s: %d MB; %s", what, kB>>10, said)
		}
		t.Logf("%s: %d MB, %.150s", what, kB>>10, said)
		left, _ := filepath.Glob(filepath.Join(folder, "*.part*"))
		if slices.ContainsFunc(left, func(string) bool { return true }) {
			t.Errorf("%s: %v is left over", what, left)
		}
	}
}

package shrinkage_test

import (
	"encoding/json"
	"flag"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"lidwright/tiles/shrinkage"
	"lidwright/tiles/tilestest"
)

var rewrite = flag.Bool("rewrite-golden", false, "write testdata/fit_golden.json anew, from this machine")

const goldenFile = "testdata/fit_golden.json"

// golden are the answers of three made-up studios: sds, means, variances, degrees of freedom.
func golden(t *testing.T) []float64 {
	t.Helper()
	var out []float64
	for _, row := range []tilestest.Row{tilestest.One, tilestest.Ten, tilestest.Thirty} {
		m := tilestest.Make(60, 1, tilestest.Options{Row: row})
		f := fitted(t, m.Studio, nil)
		out = append(out, f.Criterion())
		for _, theta := range f.Theta() {
			out = append(out, math.Exp(theta))
		}
		for _, a := range asks(m) {
			p, err := f.Pair(a, ternAsk(m), shrinkage.InPlace)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, float64(p.R[0]), float64(p.R[1]), p.Rate[0][0], p.Rate[0][1], p.Batch[0][0],
				p.Load[0][0], p.Piece[0][0], min(p.Nu, 1e9))
		}
	}
	return out
}

// TestGolden: other machines give the same answers to 1e-6, relative. The file was written on
// amd64; what it holds was checked by the tests beside it, it is no source of its own.
func TestGolden(t *testing.T) {
	got := golden(t)
	if *rewrite {
		text, err := json.Marshal(got)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(goldenFile, append(text, '\n'), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile(goldenFile)
	if err != nil {
		t.Fatal(err)
	}
	var want []float64
	if err := json.Unmarshal(text, &want); err != nil {
		t.Fatal(err)
	}
	if len(got) != len(want) {
		t.Fatalf("%d answers, the file holds %d", len(got), len(want))
	}
	worst := 0.0
	for i := range got {
		// Covariances near zero are compared on the scale of a log-percent's thousandth.
		off := math.Abs(got[i]-want[i]) / max(math.Abs(want[i]), 1e-3)
		worst = max(worst, off)
		if !(off <= 1e-6) {
			t.Errorf("answer %d is %.12g, was %.12g", i, got[i], want[i])
		}
	}
	t.Logf("%d answers, worst %.1e", len(got), worst)
}

// TestGoldenOnArm64 runs TestGolden of a binary for arm64 under qemu-aarch64 (package
// qemu-user), with LIDWRIGHT_SOAK alone; without it, it sees that the binary can be built for.
func TestGoldenOnArm64(t *testing.T) {
	binary := filepath.Join(t.TempDir(), "tiles.test")
	command := exec.Command("go", "vet", ".")
	if soaking() {
		command = exec.Command("go", "test", "-c", "-o", binary, ".")
	}
	command.Env = append(os.Environ(), "GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0")
	if out, err := command.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if !soaking() {
		return
	}
	out, err := exec.Command("qemu-aarch64", binary, "-test.run", "^TestGolden$", "-test.v").CombinedOutput()
	if err != nil {
		t.Fatalf("under qemu-aarch64: %v\n%s", err, out)
	}
	t.Logf("%s", out)
}

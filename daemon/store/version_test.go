package store

import (
	"os/exec"
	"regexp"
	"strings"
	"testing"

	"os"
	"path/filepath"
)

// TestLibc holds that the C library is the very one that its SQLite was translated against: the
// two are one piece of work, and another version of it may be wrong without a word.
func TestLibc(t *testing.T) {
	ours := must[[]byte](t)(os.ReadFile("../../go.mod"))
	dir := strings.TrimSpace(string(must[[]byte](t)(exec.Command("go", "list", "-m", "-f", "{{.Dir}}",
		"modernc.org/sqlite").Output())))
	theirs := must[[]byte](t)(os.ReadFile(filepath.Join(dir, "go.mod")))
	version := regexp.MustCompile(`modernc\.org/libc (v\S+)`)
	got, want := version.FindSubmatch(ours), version.FindSubmatch(theirs)
	if got == nil || want == nil || string(got[1]) != string(want[1]) {
		t.Errorf("go.mod has modernc.org/libc %s, SQLite was made with %s", got, want)
	}
	floor := regexp.MustCompile(`modernc\.org/sqlite v1\.(\d+)\.`).FindSubmatch(ours)
	if floor == nil || len(floor[1]) < 2 || string(floor[1]) < "62" {
		t.Errorf("go.mod has modernc.org/sqlite %s; before v1.62.0 two connections could spoil the file",
			floor)
	}
}

package store

import (
	"bufio"
	"errors"
	"lidwright/kiln/kilntest"
	"math/rand/v2"
	"os"
	"os/exec"
	"syscall"
	"testing"
	"time"
)

// TestKilled kills a process outright, again and again, while it records, takes entries, makes copies and
// carries another site in: no
// file is damaged, nothing acknowledged is lost, and of samples at most the batch under way.
func TestKilled(t *testing.T) {
	folder := t.TempDir()
	rng := rand.New(rand.NewPCG(9, 1))
	said := nothingYet()
	kills := rounds(12, 1000)
	carries := carryFiles(t, rounds(3, 12))
	little := func() bool { return len(said.entries) < kills || len(said.samples) == 0 }
	// a busy machine kills many before they say anything
	for i := 0; i < kills || little() && i < 10*kills; i++ {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), childVar+"="+folder, childCarries+"="+carries)
		cmd.Stderr = os.Stderr
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := kilntest.StartChild(cmd, syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
		said.lives++
		// Some die while they start, most in the middle of their work.
		after := time.Duration(rng.ExpFloat64() * float64(180*time.Millisecond))
		timer := time.AfterFunc(after, func() { cmd.Process.Signal(syscall.SIGKILL) })
		for lines := bufio.NewScanner(out); lines.Scan(); {
			said.hear(lines.Text())
		}
		var died *exec.ExitError
		if err := cmd.Wait(); err != nil && (!errors.As(err, &died) ||
			died.ProcessState.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL) {
			t.Fatalf("kill %d: the process ended by itself: %v", i, err)
		}
		timer.Stop()
		if i%10 != 0 && kills > 100 && i != kills-1 {
			continue // the next one opens it, and says if it cannot
		}
		for _, wrong := range said.judge(t, folder) {
			t.Errorf("kill %d: %s", i, wrong)
		}
	}
	if little() {
		t.Errorf("only %d entries and samples of %d firings were acknowledged: the test sees little",
			len(said.entries), len(said.samples))
	}
	t.Logf("%d kills, %d entries, %d firings, %d of them ended", kills, len(said.entries),
		len(said.samples), len(said.ended))
}

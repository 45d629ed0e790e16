package main

import (
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// BenchmarkCommand is a whole command, from its start as a process to its end: against a daemon that
// answers at once, and against a furnished store that no daemon has open. Goal of the first: 60 ms.
func BenchmarkCommand(b *testing.B) {
	program := filepath.Join(b.TempDir(), "lidwright")
	build := exec.Command("go", "build", "-o", program, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		io.WriteString(w, `{"items":[{"clay":"tern","name":"Tern stoneware","matures_cone":"6","batches":[{"batch":"A","open":true}]}],"next":null}`)
	}))
	defer srv.Close()
	_, folder := furnished(b)
	for name, args := range map[string][]string{"daemon": {"clay", "list", "--site", srv.URL},
		"store": {"clay", "list", "--store", folder}, "version": {"--version"}} {
		b.Run(name, func(b *testing.B) {
			var busy time.Duration
			for b.Loop() {
				c := exec.Command(program, args...)
				if out, err := c.CombinedOutput(); err != nil {
					b.Fatalf("%v\n%s", err, out)
				}
				busy += c.ProcessState.UserTime() + c.ProcessState.SystemTime()
			}
			b.ReportMetric(float64(busy.Microseconds())/1000/float64(b.N), "cpu-ms/op")
		})
	}
}

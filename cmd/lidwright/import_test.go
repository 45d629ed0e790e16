package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Ctrl-C while a table is taken in ends cleanly: what is kept is asked of the daemon and said, and that the
// same again goes on.
func TestImportStopped(t *testing.T) {
	for _, c := range []struct{ name, kept, want string }{
		{"pots", `"rows_known":340,"new_rows":860`,
			"stopped: 340 of 1200 are kept. Run it again: it goes on with the rest"},
		{"pots", `"rows_known":0,"new_rows":1200`,
			"stopped: nothing of it is kept. Run it again to take it in"},
		{"bars", `"readings_known":30,"new_readings":0`, "stopped when all of it was kept"},
		{"bars", ``, "stopped. Run it again: what is kept is known then, and the rest comes"},
	} {
		ctx, stop := context.WithCancel(t.Context())
		daemon := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			io.Copy(io.Discard, r.Body)
			if r.URL.Query().Get("dry_run") == "true" {
				if c.kept != "" {
					fmt.Fprintf(w, `{"kind":%q,%s}`, c.name, c.kept)
				}
				return
			}
			fmt.Fprintln(w, `{"done":20,"of":1200}`)
			w.(http.Flusher).Flush()
			stop()
			<-r.Context().Done()
		}))
		file := filepath.Join(t.TempDir(), c.name+".csv")
		if err := os.WriteFile(file, []byte("id\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		r, w, err := os.Pipe()
		if err != nil {
			t.Fatal(err)
		}
		var said bytes.Buffer
		done := make(chan struct{})
		go func() { io.Copy(&said, r); close(done) }()
		code := run(ctx, []string{"import", file, "--site", daemon.URL}, w, w)
		w.Close()
		<-done
		if code != exitFailed || !strings.Contains(said.String(), c.want) {
			t.Errorf("exit %d: %s, want %s", code, &said, c.want)
		}
		daemon.Close()
	}
}

package daemon

import (
	"fmt"
	"path/filepath"
	"testing"

	"lidwright/config"
)

// BenchmarkStart is a start from settings to pages that could be answered, on a small store.
func BenchmarkStart(b *testing.B) {
	folder := b.TempDir()
	cfg, err := config.LoadText("start.toml", fmt.Sprintf(heatSettings, filepath.Join(folder, "store"), filepath.Join(folder, "no-line")), nil)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		d, err := New(b.Context(), cfg, "bench")
		if err != nil {
			b.Fatal(err)
		}
		if _, err := d.server.Handler(); err != nil {
			b.Fatal(err)
		}
		d.store.Close()
	}
}

package daemon

import "testing"

// BenchmarkStart is a start from settings to pages that could be answered, on a small store.
func BenchmarkStart(b *testing.B) {
	cfg := heatConfig(b, heatSettings)
	for b.Loop() {
		d, err := New(b.Context(), cfg, "bench")
		if err != nil {
			b.Fatal(err)
		}
		if _, err := d.handler(); err != nil {
			b.Fatal(err)
		}
		d.store.Close()
	}
}

package config

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The example loads, names every setting, and says the defaults but for what is needed.
func TestCollectExample(t *testing.T) {
	cfg, err := LoadCollect("collect.example.toml", nil)
	if err != nil {
		t.Fatal(err)
	}
	want := DefaultCollect()
	want.File, want.Database.URL, want.Keep.BackupDays = "collect.example.toml", cfg.Database.URL, 30
	if diff := cmp.Diff(want, cfg); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
	for _, key := range []string{"name", "zone", "language", "address", "tls_cert", "tls_key", "url",
		"url_file", "connections", "code_file", "backup_days", "level", "format"} {
		if !strings.Contains(CollectExample, "\n"+key+" = ") {
			t.Errorf("it does not name %s", key)
		}
	}
}

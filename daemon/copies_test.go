package daemon

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"lidwright/daemon/notice"
	"lidwright/kiln"
	"lidwright/kiln/message"
)

// TestReadersSeeNoPaths: what anybody may read names files, and not where on the machine they lie; the
// command on the machine itself does.
func TestReadersSeeNoPaths(t *testing.T) {
	b := newHeatBench(t)
	folder := b.d.cfg.Store.Folder
	b.run()
	b.fire(3, "20>1222@150 >20@150", kiln.Glaze)
	if _, err := b.d.store.Copy(t.Context()); err != nil {
		t.Fatal(err)
	}
	if all, err := (copies{store: b.d.store}).List(); err != nil || len(all) != 1 ||
		all[0].Folder != filepath.Join(folder, "copies") {
		t.Errorf("the machine's own list: %+v %v", all, err)
	}
	b.d.notifier.tell(t.Context(), notice.OfStudio(notice.CopyOld, "began",
		message.New("look into {1}/lidwright.db.corrupt-1", folder), "/more", nil, b.d.Now(), newID(),
		"studio", b.d.server.Site.Zone))
	b.fire(4, "20>1222@150 >20@150", kiln.Glaze)
	kept := filepath.Join(folder, "copies")
	if err := os.Rename(kept, kept+".away"); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(kept, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := b.d.store.Copy(t.Context()); err == nil {
		t.Fatal("copied into a file")
	}
	b.d.store.Health() // fails to list them too, while the file is there
	if err := os.Remove(kept); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(kept+".away", kept); err != nil {
		t.Fatal(err)
	}
	said := map[string]string{}
	for _, path := range []string{"/v1/copies", "/v1/notices", "/more", "/healthz",
		"/readyz", "/metrics", "/"} {
		status, text := b.ask("GET", path, nil, nil)
		if said[path] = text; status != 200 || strings.Contains(text, folder) {
			t.Errorf("%s: %d, with the path: %v", path, status, strings.Contains(text, folder))
		}
	}
	for path, want := range map[string]string{"/v1/copies": "lidwright-000001-",
		"/v1/notices": "lidwright.db.corrupt-1", "/healthz": "copy of the store failed"} {
		if !strings.Contains(said[path], want) {
			t.Errorf("%s: no %q in %s", path, want, said[path])
		}
	}
	if got := pathless(b.d.cfg, "it lies in "+folder+" and "+folder+
		"/copies/x"); !slices.Equal(strings.Fields(got),
		strings.Fields("it lies in the folder and copies/x")) {
		t.Error(got)
	}
}

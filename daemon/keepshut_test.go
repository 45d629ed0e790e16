package daemon

import (
	"strings"
	"testing"

	"lidwright/config"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/tiles"
)

// A store that was told before that a kiln is kept shut above more than can be set is taken over: the most
// that can be set is in force, its reason says what was before, and a second start says nothing again.
func TestKeepShutOfAStoreFromBefore(t *testing.T) {
	cfg, err := config.LoadText("lidwright.toml", "[store]\nfolder = \""+t.TempDir()+
		"\"\n[kiln.big-blue]\nport = \"\"\nlimit_c = 1290\nunpacking_mark_c = 45\n", nil)
	if err != nil {
		t.Fatal(err)
	}
	st, err := store.Open(t.Context(), cfg.Store.Folder)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := st.PutKeepShut(t.Context(), tiles.KeepShut{ID: newID(), Kiln: "big-blue", Mark: 260,
		Reason: "raku"}, kiln.Stamp{Boot: "before"}); err != nil {
		t.Fatal(err)
	}
	st.Close()
	for range 2 {
		d, err := New(t.Context(), cfg, "test")
		if err != nil {
			t.Fatal(err)
		}
		told, err := d.store.KeepShuts(t.Context(), "big-blue")
		if err != nil {
			t.Fatal(err)
		}
		if k := d.recorder.Kilns[0]; k.KeepShut != 200 || len(told) != 2 || told[0].Mark != 200 ||
			!strings.Contains(told[0].Reason, "260 °C before") || !strings.HasSuffix(told[0].Reason, "raku") {
			t.Errorf("%v is in force, the store has %v", k.KeepShut, told)
		}
		d.store.Close()
	}
}

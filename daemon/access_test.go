package daemon

import (
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"lidwright/api/auth"
	"lidwright/config"
)

// Whoever lets others in must have set both codes; the words say how.
func TestAddressNeedsCodes(t *testing.T) {
	folder := t.TempDir()
	bench, owner := filepath.Join(folder, "bench"), filepath.Join(folder, "owner")
	for who, path := range map[auth.Who]string{auth.Bench: bench, auth.Owner: owner} {
		if _, err := NewCode(who, path); err != nil {
			t.Fatal(err)
		}
	}
	damaged := filepath.Join(folder, "damaged")
	if err := os.WriteFile(damaged, []byte("KQ7T-3HVW\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		address, bench, owner string
		closed                bool
		starts, codes         bool
	}{
		{"127.0.0.1:8573", "", "", false, true, false},
		{"localhost:8573", "", "", false, true, false},
		{"[::1]:8573", "", "", false, true, false},
		{"127.0.0.1:8573", "", "", true, false, false},
		{"127.0.0.1:8573", bench, owner, false, true, true},
		{"127.0.0.1:8573", bench, "", false, false, false},
		{":8573", "", "", false, false, false},
		{"0.0.0.0:8573", "", "", false, false, false},
		{"192.168.1.7:8573", "", "", false, false, false},
		{"kiln-pi.local:8573", "", "", false, false, false},
		{":8573", bench, "", false, false, false},
		{":8573", "", owner, false, false, false},
		{":8573", bench, owner, false, true, true},
		{":8573", bench, filepath.Join(folder, "missing"), false, false, false},
		{":8573", damaged, owner, false, false, false},
	} {
		cfg := config.Default()
		cfg.Listen.Address, cfg.Codes.BenchFile, cfg.Codes.OwnerFile, cfg.Reading.Open =
			c.address, c.bench, c.owner, !c.closed
		a, err := access(cfg)
		if (err == nil) != c.starts || (err == nil && (a.Codes != nil) != c.codes) {
			t.Errorf("%+v: %v", c, err)
		}
		if err != nil && (!errors.Is(err, ErrCannotStart) || !strings.Contains(err.Error(),
			"lidwright code new")) {
			t.Errorf("%+v: the words do not help: %v", c, err)
		}
	}
	// A renewed code counts at once.
	cfg := config.Default()
	cfg.Codes.BenchFile, cfg.Codes.OwnerFile = bench, owner
	a, err := access(cfg)
	if err != nil {
		t.Fatal(err)
	}
	before, _, _ := a.Codes()
	if _, err := NewCode(auth.Bench, bench); err != nil {
		t.Fatal(err)
	}
	after, _, err := a.Codes()
	if err != nil || before.String() == after.String() {
		t.Errorf("the old code still counts: %v", err)
	}
	os.Remove(owner)
	if _, _, err := a.Codes(); err == nil {
		t.Error("a code file that went away leaves the door open")
	}
}

// A daemon with both codes as the package makes them: a right code keeps a fact and makes its address
// familiar in the store, which is opened after the routes are built; a wrong one is refused, and without one
// nothing is kept.
func TestCodesOfARunningDaemon(t *testing.T) {
	folder := t.TempDir()
	codes := map[auth.Who]string{}
	for who, name := range map[auth.Who]string{auth.Bench: "bench", auth.Owner: "owner"} {
		code, err := NewCode(who, filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		codes[who] = code
	}
	d, site := daemonOn(t, "none", fmt.Sprintf("[codes]\nbench_file = %q\nowner_file = %q\n# %%s\n",
		filepath.Join(folder, "bench"), filepath.Join(folder, "owner")))
	put := func(code string) int {
		r, err := http.NewRequestWithContext(t.Context(), "PUT", site+"/v1/clays/tern",
			strings.NewReader(`{"name":"Tern stoneware"}`))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/json")
		if code != "" {
			r.Header.Set("Authorization", "Bearer "+code)
		}
		a, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		a.Body.Close()
		return a.StatusCode
	}
	for _, c := range []struct {
		code string
		want int
	}{{"", 401}, {"AAAA-AAAA-AAAA", 401}, {codes[auth.Bench], 403}, {codes[auth.Owner], 201},
		{codes[auth.Owner], 200}} {
		if got := put(c.code); got != c.want {
			t.Errorf("with %q: %d, want %d", c.code, got, c.want)
		}
	}
	if clay, err := d.store.Clay(t.Context(), "tern"); err != nil || clay.Name != "Tern stoneware" {
		t.Errorf("kept %+v, %v", clay, err)
	}
}

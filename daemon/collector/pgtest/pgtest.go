// Package pgtest gives tests a real PostgreSQL: one server for a test binary, a database of its own for each
// test, or a server of its own for one that kills it.
//
// In flows the test that asks, out flows the address of an empty database, which goes with the test. There is
// no stand-in for the database anywhere: what a transaction promises is only told by the real one.
package pgtest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"testing"

	"lidwright/daemon/collector/cluster"
)

var shared struct {
	once   sync.Once
	server *cluster.Server
	err    error
	folder string
	made   atomic.Int64
}

// Main runs the tests of a binary and stops the server that they shared. TestMain calls it.
func Main(m *testing.M) {
	code := m.Run()
	if shared.server != nil {
		shared.server.Kill()
	}
	if shared.folder != "" {
		os.RemoveAll(shared.folder)
	}
	os.Exit(code)
}

// quick settings: what is lost when the machine dies is of no interest here, what is lost when the server is
// killed is; and that is kept without waiting for the disk.
var quick = []string{"fsync=off", "max_connections=60", "shared_buffers=32MB", "full_page_writes=off"}

// Database is an empty one of the shared server, gone when the test ends.
func Database(t testing.TB) (url string) {
	t.Helper()
	shared.once.Do(func() {
		if shared.folder, shared.err = os.MkdirTemp("", "pg"); shared.err != nil {
			return
		}
		if shared.err = os.Chmod(shared.folder, 0o711); shared.err != nil {
			return
		}
		if shared.server, shared.err = cluster.Make(context.Background(), filepath.Join(shared.folder,
			"data"), true); shared.err == nil {
			shared.err = shared.server.Start(context.Background(), quick...)
		}
	})
	if shared.err != nil {
		t.Fatal(shared.err)
	}
	name := fmt.Sprintf("t%d", shared.made.Add(1))
	if err := shared.server.CreateDatabase(context.Background(), name); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := shared.server.DropDatabase(context.Background(), name); err != nil {
			t.Log(err)
		}
	})
	return shared.server.URL(name)
}

// Own is a server of one test alone, to be killed in it; stopped when the test ends.
func Own(t testing.TB, settings ...string) *cluster.Server {
	t.Helper()
	return OwnIn(t, Folder(t), settings...)
}

// OwnIn is Own in a folder that its user can pass through.
func OwnIn(t testing.TB, folder string, settings ...string) *cluster.Server {
	t.Helper()
	s, err := cluster.Make(t.Context(), filepath.Join(folder, "data"), true)
	if err == nil {
		err = s.Start(t.Context(), append(slices.Clone(quick), settings...)...)
	}
	if err == nil {
		err = s.CreateDatabase(t.Context(), "own")
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Kill)
	return s
}

// Standby is a server that follows another as its standby named "standby", on a port that is free where port
// is 0; stopped when the test ends.
func Standby(t testing.TB, primary *cluster.Server, port int) *cluster.Server {
	t.Helper()
	s, err := primary.Standby(t.Context(), filepath.Join(Folder(t), "data"), "standby")
	if err == nil {
		s.Port = port
		err = s.Start(t.Context(), quick...)
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Kill)
	return s
}

// Folder is one that the user of PostgreSQL can pass through.
func Folder(t testing.TB) string {
	t.Helper()
	folder, err := os.MkdirTemp("", "pg")
	if err == nil {
		err = os.Chmod(folder, 0o711)
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(folder) })
	return folder
}

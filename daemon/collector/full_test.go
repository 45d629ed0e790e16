package collector

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/sys/unix"

	"lidwright/daemon/collector/cluster"
	"lidwright/daemon/collector/pgtest"
)

// fullDisk is a server on a disk that can be filled and emptied: a small one in memory, or, for a user who
// may not mount, a limit on how long the files of the server may grow. Either way its writes fail.
func fullDisk(t *testing.T) (server *cluster.Server, fill, free func() error) {
	t.Helper()
	folder := pgtest.Folder(t)
	settings := []string{"fsync=on", "full_page_writes=on", "wal_recycle=off",
		"min_wal_size=32MB", "max_wal_size=32MB"}
	if unix.Mount("tmpfs", folder, "tmpfs", 0, "size=160m,mode=0711") == nil {
		t.Cleanup(func() { unix.Unmount(folder, unix.MNT_DETACH) })
		ballast := filepath.Join(folder, "ballast")
		return pgtest.OwnIn(t, folder, settings...), func() error {
			var d unix.Statfs_t
			if err := unix.Statfs(folder, &d); err != nil {
				return err
			}
			err := os.WriteFile(ballast, bytes.Repeat([]byte{1}, int(d.Bavail)*int(d.Bsize)), 0o600)
			if errors.Is(err, unix.ENOSPC) { // the server took some meanwhile
				err = nil
			}
			return err
		}, func() error { return os.Remove(ballast) }
	}
	server = pgtest.OwnIn(t, folder, settings...)
	limit := func(to uint64) (err error) {
		for _, pid := range server.Pids() { // those that it starts later have it of the first
			if e := unix.Prlimit(pid, unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: to, Max: unix.RLIM_INFINITY},
				nil); !errors.Is(e, unix.ESRCH) {
				err = errors.Join(err, e)
			}
		}
		return err
	}
	return server, func() error { return limit(64 << 10) }, func() error { return limit(unix.RLIM_INFINITY) }
}

// TestDiskFull fills the disk of the database while studios send: they are told to come again, nothing that
// was acknowledged is lost, and all of it arrives by itself once there is room, with the server started again
// where it ended, as the service manager does.
func TestDiskFull(t *testing.T) {
	server, fill, free := fullDisk(t)
	r, s := start(t, server.URL("own")), newStudio(t)
	s.join(t, r)
	s.says(t, 10)
	s.arrived(t, r.store)
	p := newPusher(t, r)
	p.pad = 400_000
	for range times(1, 3) {
		for range 5 {
			p.push(t.Context())
		}
		if err := fill(); err != nil {
			t.Fatal(err)
		}
		before := p.busy
		for p.busy == before {
			p.push(t.Context())
		}
		s.says(t, 20)
		s.fires(t, 0.1)
		if err := free(); err != nil {
			t.Fatal(err)
		}
		select {
		case <-server.Ended():
			if err := server.Start(t.Context()); err != nil {
				t.Fatal(err)
			}
		default:
		}
		acked := p.acked
		until(t, "it goes on", func() bool { p.push(t.Context()); return p.acked > acked })
		s.arrived(t, r.store)
		p.holds(t, r)
	}
	t.Logf("%d facts acknowledged, 0 lost; %d answers 503", p.acked, p.busy)
}

// Package cluster starts a real PostgreSQL in a folder of its own, on a free port of loopback, for tests and
// for trying the collector: Debian's programs, whoever may run them.
//
// In go a folder and what the servers are to be (a primary, standbys that follow it); out come the addresses
// of databases, and the servers' processes by their ids, so that a test ends its own and no other.
//
// It starts no service of the machine and needs no root: PostgreSQL refuses root, and runs as nobody then.
package cluster

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
)

const nobody = 65534 // the user without rights, on every Debian

// Programs is the folder with the newest PostgreSQL that is installed.
func Programs() (string, error) {
	all, _ := filepath.Glob("/usr/lib/postgresql/*/bin/initdb") // the pattern is good
	if len(all) == 0 {
		return "", errors.New("no PostgreSQL is installed; on Debian: sudo apt-get install postgresql (make packages does it without starting one)")
	}
	version := func(path string) int {
		n, _ := strconv.Atoi(filepath.Base(filepath.Dir(filepath.Dir(path))))
		return n
	}
	newest := slices.MaxFunc(all, func(a, b string) int { return cmp.Compare(version(a), version(b)) })
	return filepath.Dir(newest), nil
}

// Server is one running cluster.
type Server struct {
	Folder string // of the cluster
	Port   int
	bin    string
	extra  []string
	cmd    *exec.Cmd
	ended  chan struct{}
	log    *os.File
}

// Make makes a cluster in a folder that is empty or not there yet. quick leaves out waiting for the disk.
func Make(ctx context.Context, folder string, quick bool) (*Server, error) {
	bin, err := Programs()
	if err != nil {
		return nil, err
	}
	s := &Server{Folder: folder, bin: bin}
	if err := own(folder); err != nil {
		return nil, err
	}
	args := []string{"--pgdata", folder, "--username", "lidwright", "--auth", "trust", "--encoding",
		"UTF8", "--locale", "C"}
	if quick {
		args = append(args, "--no-sync")
	}
	if out, err := s.program(ctx, "initdb", args...).CombinedOutput(); err != nil {
		return nil, fmt.Errorf("make a cluster in %s: %w: %s", folder, err, out)
	}
	return s, nil
}

// At is a cluster that was made before.
func At(folder string) (*Server, error) {
	bin, err := Programs()
	return &Server{Folder: folder, bin: bin}, err
}

// own makes a folder that the user of PostgreSQL can write into and nobody else reads.
func own(folder string) error {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	if os.Geteuid() != 0 {
		return nil
	}
	return os.Chown(folder, nobody, nobody)
}

// program is one of PostgreSQL's, to be run as a user that it takes.
func (s *Server) program(ctx context.Context, name string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, filepath.Join(s.bin, name), args...)
	cmd.Dir = "/"
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGQUIT}
	if os.Geteuid() == 0 {
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: nobody, Gid: nobody}
	}
	return cmd
}

// freePort is one that nobody listens on now.
func freePort() (int, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port, nil
}

// Start starts the server, on the port that it had before where it had one, and waits until it answers.
// settings are those of postgresql.conf.
func (s *Server) Start(ctx context.Context, settings ...string) error {
	if len(settings) > 0 {
		s.extra = settings
	}
	if s.Port == 0 {
		port, err := freePort()
		if err != nil {
			return err
		}
		s.Port = port
	}
	args := []string{"-D", s.Folder, "-p", strconv.Itoa(s.Port), "-h", "127.0.0.1", "-k", ""}
	for _, e := range s.extra {
		args = append(args, "-c", e)
	}
	log, err := os.OpenFile(s.Folder+".log", os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	s.cmd = s.program(context.WithoutCancel(ctx), "postgres", args...)
	s.cmd.Stdout, s.cmd.Stderr, s.log = log, log, log
	started := make(chan error)
	ended := make(chan struct{})
	s.ended = ended
	// The thread that starts it stays with it: where that ends, the kernel tells the child that its parent
	// died.
	go func(cmd *exec.Cmd) {
		runtime.LockOSThread()
		err := cmd.Start()
		started <- err
		if err == nil {
			cmd.Wait()
		}
		log.Close()
		close(ended)
	}(s.cmd)
	if err := <-started; err != nil {
		return fmt.Errorf("start PostgreSQL: %w", err)
	}
	for {
		out, err := s.program(ctx, "pg_isready", "-q", "-h", "127.0.0.1", "-p",
			strconv.Itoa(s.Port)).CombinedOutput()
		if err == nil {
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("PostgreSQL did not become ready: %w: %s", ctx.Err(), out)
		case <-ended:
			text, _ := os.ReadFile(s.Folder + ".log")
			return fmt.Errorf("PostgreSQL ended at once: %s", bytes.TrimSpace(text))
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// Pids are the processes of the server that run now, the postmaster first.
func (s *Server) Pids() []int {
	return append([]int{s.cmd.Process.Pid}, childrenOf(s.cmd.Process.Pid)...)
}

// Ended is closed when the server ended, whoever ended it.
func (s *Server) Ended() <-chan struct{} { return s.ended }

// Kill ends the server as a cut power does: the postmaster and all its children get SIGKILL.
func (s *Server) Kill() {
	if s.cmd == nil {
		return
	}
	children := childrenOf(s.cmd.Process.Pid)
	s.cmd.Process.Kill()
	for _, pid := range children {
		syscall.Kill(pid, syscall.SIGKILL)
	}
	<-s.ended
	for _, pid := range children { // a new one must not find their shared memory in use
		for syscall.Kill(pid, 0) == nil && stateOf(pid) != 'Z' {
			time.Sleep(time.Millisecond)
		}
	}
}

// Stop ends the server as pg_ctl stop -m fast does.
func (s *Server) Stop() {
	if s.cmd == nil {
		return
	}
	s.cmd.Process.Signal(syscall.SIGINT)
	<-s.ended
}

func stateOf(pid int) byte {
	stat, _ := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if i := bytes.LastIndexByte(stat, ')'); i >= 0 && i+2 < len(stat) {
		return stat[i+2]
	}
	return 'Z'
}

func childrenOf(pid int) (all []int) {
	tasks, _ := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/children", pid))
	for _, t := range tasks {
		text, _ := os.ReadFile(t)
		for _, f := range strings.Fields(string(text)) {
			if n, err := strconv.Atoi(f); err == nil {
				all = append(all, n)
			}
		}
	}
	return all
}

// URL is the address of a database of the server.
func (s *Server) URL(database string) string {
	return fmt.Sprintf("postgres://lidwright@127.0.0.1:%d/%s?sslmode=disable", s.Port, database)
}

// CreateDatabase makes an empty one, unless it is there.
func (s *Server) CreateDatabase(ctx context.Context, name string) error {
	out, err := s.program(ctx, "createdb", "-h", "127.0.0.1", "-p", strconv.Itoa(s.Port), "-U", "lidwright",
		name).CombinedOutput()
	if err != nil && !bytes.Contains(out, []byte("already exists")) {
		return fmt.Errorf("make the database %s: %w: %s", name, err, out)
	}
	return nil
}

// DropDatabase deletes one, whoever is connected to it.
func (s *Server) DropDatabase(ctx context.Context, name string) error {
	out, err := s.program(ctx, "dropdb", "--force", "--if-exists", "-h", "127.0.0.1", "-p",
		strconv.Itoa(s.Port), "-U", "lidwright", name).CombinedOutput()
	if err != nil {
		return fmt.Errorf("drop the database %s: %w: %s", name, err, out)
	}
	return nil
}

// Standby makes a copy of the server that follows it, in a folder of its own, and does not start it.
func (s *Server) Standby(ctx context.Context, folder, name string) (*Server, error) {
	if err := own(folder); err != nil {
		return nil, err
	}
	to := &Server{Folder: folder, bin: s.bin}
	out, err := s.program(ctx, "pg_basebackup", "-D", folder, "-R", "-X", "stream", "-c",
		"fast", "--no-sync", "-d",
		fmt.Sprintf("host=127.0.0.1 port=%d user=lidwright application_name=%s", s.Port,
			name)).CombinedOutput()
	if err != nil {
		return nil, fmt.Errorf("copy the cluster: %w: %s", err, out)
	}
	return to, nil
}

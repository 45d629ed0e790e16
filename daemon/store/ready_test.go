package store

import (
	"bytes"
	"context"
	"fmt"
	"lidwright/kiln/kilntest"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"
)

// BenchmarkReady starts the program as it is shipped, as a service manager does, and waits until it
// says that it is ready: on an empty store, and on ten years of a thousand firings and 100,000
// readings; LIDWRIGHT_SOAK=1 gives the firings their curves, which takes minutes to make.
func BenchmarkReady(b *testing.B) {
	program := filepath.Join(b.TempDir(), "lidwright")
	build := exec.Command("make", "-C", "../..", "program", "OUT="+program)
	if out, err := build.CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	full := b.TempDir()
	manyFirings(b, full, 1000, os.Getenv("LIDWRIGHT_SOAK") != "")
	s := must[*Store](b)(Open(context.Background(), full))
	manyReadings(b, s, 100_000)
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	for _, c := range []struct{ name, folder string }{{"empty", b.TempDir()}, {"ten years", full}} {
		b.Run(c.name, func(b *testing.B) {
			folder := b.TempDir()
			free := must[net.Listener](b)(net.Listen("tcp", "127.0.0.1:0"))
			address := free.Addr().String()
			free.Close()
			settings := filepath.Join(folder, "lidwright.toml")
			text := fmt.Sprintf("[store]\nfolder=%q\n[listen]\naddress=%q\n[kiln.big-blue]\nport=%q\nreply=\"columns\"\nevery=\"1s\"\nlimit_c=1290\n", c.folder, address, filepath.Join(folder, "kiln"))
			for _, n := range []string{"1", "2", "3"} {
				text += fmt.Sprintf("[kiln.big-blue.channel.%s]\nfrom=%q\nunit=\"c\"\n[kiln.big-blue.probe.%s]\ntype=\"K\"\n", n, n, n)
			}
			if err := os.WriteFile(settings, []byte(text), 0o600); err != nil {
				b.Fatal(err)
			}
			manager := must[*net.UnixConn](b)(net.ListenUnixgram("unixgram",
				&net.UnixAddr{Name: filepath.Join(folder, "notify"), Net: "unixgram"}))
			defer manager.Close()
			var took, busy []float64
			for b.Loop() {
				cmd := exec.Command(program, "run", "--config", settings)
				cmd.Env = append(slices.DeleteFunc(os.Environ(),
					func(v string) bool { return len(v) > 10 && v[:10] == "LIDWRIGHT_" }),
					"NOTIFY_SOCKET="+manager.LocalAddr().String())
				var log bytes.Buffer
				cmd.Stderr = &log
				began := time.Now()
				if err := kilntest.StartChild(cmd, syscall.SIGKILL); err != nil {
					b.Fatal(err)
				}
				manager.SetReadDeadline(began.Add(5 * time.Second))
				said := make([]byte, 64)
				for n := 0; string(said[:n]) != "READY=1"; {
					var err error
					if n, err = manager.Read(said); err != nil {
						cmd.Process.Kill()
						cmd.Wait()
						b.Fatalf("it is not ready: %v\n%s", err, &log)
					}
				}
				took = append(took, time.Since(began).Seconds()*1000)
				busy = append(busy, busyOf(b, cmd.Process.Pid))
				cmd.Process.Signal(syscall.SIGTERM)
				if err := cmd.Wait(); err != nil {
					b.Fatal(err)
				}
			}
			slices.Sort(took)
			slices.Sort(busy)
			b.ReportMetric(busy[len(busy)/2], "cpu-ms")
			b.ReportMetric(took[len(took)/2], "median-ms")
			b.ReportMetric(took[len(took)*9/10], "p90-ms")
		})
	}
}

// busyOf is how many milliseconds a process has had of the processors.
func busyOf(b *testing.B, pid int) (ms float64) {
	threads := must[[]string](b)(filepath.Glob(fmt.Sprintf("/proc/%d/task/*/schedstat", pid)))
	for _, t := range threads {
		var ns int64
		if text, err := os.ReadFile(t); err == nil {
			fmt.Sscan(string(text), &ns)
		}
		ms += float64(ns) / 1e6
	}
	return ms
}

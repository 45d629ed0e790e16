package main

import (
	"context"
	"fmt"
	"io"
	"lidwright/kiln/kilntest"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"

	"lidwright/kiln/practice"
)

// BenchmarkFootprint starts the program as it is shipped beside a kiln of three channels that speaks
// once a second, on a store with ten clays, and tells what the whole process takes: resident memory
// idle, while it records, and while it is asked for everything besides; processor time in percent of
// a core while it records; bytes that go to the disk in a day without a firing and in an hour with
// one. Half a minute of each, three minutes with LIDWRIGHT_SOAK=1.
func BenchmarkFootprint(b *testing.B) {
	span := 30 * time.Second
	if os.Getenv("LIDWRIGHT_SOAK") != "" {
		span = 3 * time.Minute
	}
	folder := b.TempDir()
	binary := filepath.Join(folder, "lidwright")
	shipped(b, binary)
	plug := &practice.Plug{Link: filepath.Join(folder, "kiln")}
	if err := plug.Plug(); err != nil {
		b.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	b.Cleanup(func() { stop(); plug.Unplug() })
	go func() {
		for n := 0; ctx.Err() == nil; n++ {
			t := 20 + float64(n%7)/10 + float64(n)/30
			plug.Write(fmt.Appendf(nil, "%.1f,%.1f,%.1f\r\n", t, t+3, t-2))
			time.Sleep(time.Second)
		}
	}()
	l, err := net.Listen("tcp", "127.0.0.1:0") // a port that is free
	if err != nil {
		b.Fatal(err)
	}
	site := "http://" + l.Addr().String()
	l.Close()
	settings := fmt.Sprintf("[store]\nfolder=%q\n[listen]\naddress=%q\n[kiln.big-blue]\nport=%q\nreply=\"columns\"\nevery=\"1s\"\nlimit_c=1290\n", filepath.Join(folder, "store"), strings.TrimPrefix(site, "http://"), plug.Link)
	for _, n := range []string{"1", "2", "3"} {
		settings += fmt.Sprintf("[kiln.big-blue.channel.%s]\nfrom=%q\nunit=\"c\"\n[kiln.big-blue.probe.%s]\ntype=\"K\"\n", n, n, n)
	}
	file := filepath.Join(folder, "lidwright.toml")
	if err := os.WriteFile(file, []byte(settings), 0o600); err != nil {
		b.Fatal(err)
	}
	start := func() *exec.Cmd {
		cmd := exec.Command(binary, "run", "--config", file)
		// settings of the tests are none of its own
		cmd.Env = slices.DeleteFunc(os.Environ(), func(v string) bool {
			return strings.HasPrefix(v, "LIDWRIGHT_")
		})
		if err := kilntest.StartChild(cmd, syscall.SIGKILL); err != nil {
			b.Fatal(err)
		}
		b.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
		for range 500 {
			if r, err := http.Get(site + "/readyz"); err == nil {
				r.Body.Close()
				if r.StatusCode == http.StatusOK {
					return cmd
				}
			}
			time.Sleep(2 * time.Millisecond)
		}
		b.Fatal("it is not ready")
		return nil
	}
	put := func(path, body string) {
		q, _ := http.NewRequest(http.MethodPut, site+path, strings.NewReader(body))
		q.Header.Set("Content-Type", "application/json")
		r, err := http.DefaultClient.Do(q)
		if err != nil {
			b.Fatal(err)
		}
		defer r.Body.Close()
		if text, _ := io.ReadAll(r.Body); r.StatusCode/100 != 2 {
			b.Fatalf("PUT %s: %s %s", path, r.Status, text)
		}
	}
	cmd := start()
	for c := range 10 {
		clay := fmt.Sprintf("clay-%d", c)
		put("/v1/clays/"+clay, fmt.Sprintf(`{"name":"Clay %d","matures_cone":"6"}`, c))
		for n := range 3 {
			code := fmt.Sprintf("%c%c%d", "BCDFGHJKLN"[c], "QRT"[n], 7)
			put("/v1/bars/"+code, fmt.Sprintf(`{"id":%q,"clay":%q}`, uuid.NewString(), clay))
			put("/v1/bars/"+code+"/readings/"+uuid.NewString(),
				`{"stage":"wet","length":"100.0","instrument":"calliper","by":"KT"}`)
			put("/v1/bars/"+code+"/readings/"+uuid.NewString(),
				fmt.Sprintf(`{"stage":"fired","length":"%.1f","instrument":"calliper","by":"KT"}`,
					87.5+float64(n)/5))
		}
		time.Sleep(time.Second) // no more than a bench may write
	}
	cmd.Process.Signal(syscall.SIGTERM)
	cmd.Wait()
	began := time.Now()
	cmd = start()
	ready := time.Since(began)
	pid := cmd.Process.Pid
	for b.Loop() {
		b.ReportMetric(ready.Seconds()*1000, "ready-ms")
		time.Sleep(span)
		b.ReportMetric(resident(b, pid), "idle-MiB")
		from := sent(b, pid)
		time.Sleep(span)
		b.ReportMetric((sent(b, pid)-from)/1e6*float64(24*time.Hour/span), "idle-MB/day")
		put("/v1/firings/"+uuid.NewString()+"/begin", `{"kiln":"big-blue"}`)
		time.Sleep(10 * time.Second)
		from, spent := sent(b, pid), used(b, pid)
		time.Sleep(span)
		b.ReportMetric((used(b, pid)-spent).Seconds()/span.Seconds()*100, "cpu-%")
		b.ReportMetric((sent(b, pid)-from)/1e6*float64(time.Hour/span), "recording-MB/h")
		b.ReportMetric(resident(b, pid), "recording-MiB")
		most := 0.0
		for until := time.Now().Add(span); time.Now().Before(until); {
			for _, path := range []string{"/", "/v1/now", "/kiln/big-blue", "/clays", "/clay/clay-3",
				"/v1/clays/clay-3/shrinkage", "/v1/lid?clay=clay-3&collar=104.5",
				"/lid?clay=clay-3&collar=104.5", "/v1/firings", "/metrics", "/v1/changes", "/bars"} {
				if r, err := http.Get(site + path); err == nil {
					io.Copy(io.Discard, r.Body)
					r.Body.Close()
					if r.StatusCode >= 500 {
						b.Fatal(path, r.Status)
					}
				}
			}
			most = max(most, resident(b, pid))
			time.Sleep(500 * time.Millisecond)
		}
		b.ReportMetric(most, "busy-MiB")
	}
}

// resident is the memory of a process that is in the machine's own, MiB (proc(5), status).
func resident(b *testing.B, pid int) (mib float64) {
	b.Helper()
	fmt.Sscan(after(b, pid, "status", "VmRSS:"), &mib)
	return mib / 1024
}

// sent is how many bytes a process caused to be sent to a disk so far (proc(5), io).
func sent(b *testing.B, pid int) (bytes float64) {
	b.Helper()
	fmt.Sscan(after(b, pid, "io", "\nwrite_bytes:"), &bytes)
	return bytes
}

// used is the processor time of a process so far (proc(5), stat: utime and stime, hundredths of a
// second).
func used(b *testing.B, pid int) time.Duration {
	b.Helper()
	fields := strings.Fields(after(b, pid, "stat", ") "))
	if len(fields) < 13 {
		b.Fatal("no processor time")
	}
	var user, system int64
	fmt.Sscan(fields[11], &user)
	fmt.Sscan(fields[12], &system)
	return time.Duration(user+system) * 10 * time.Millisecond
}

func after(b *testing.B, pid int, file, mark string) string {
	b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/%s", pid, file))
	if err != nil {
		b.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(text), mark)
	if !ok {
		b.Fatalf("%s has no %q", file, mark)
	}
	return rest
}

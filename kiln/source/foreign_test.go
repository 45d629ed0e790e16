package source

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/practice"
)

// The master against slaves that nobody here wrote: libmodbus and pymodbus, each on a pseudo
// terminal, with a relay of ours between it and the master that damages, delays and drops frames.
// mbpoll and socat look at the same things from outside. `make test` installs what is needed; a
// missing tool fails the test.

func tool(t *testing.T, name, debian string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Fatalf("%s is missing: install the Debian package %s (make test does it): %v", name, debian, err)
	}
	return path
}

// started runs a program that says "ready" and ends with the test.
func started(t *testing.T, cmd *exec.Cmd) {
	t.Helper()
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var complaints strings.Builder
	cmd.Stderr = &complaints
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	if line, err := bufio.NewReader(out).ReadString('\n'); err != nil || line != "ready\n" {
		cmd.Process.Kill()
		cmd.Wait()
		t.Fatalf("%v said %q, %v; %s", cmd, line, err, complaints.String())
	}
}

// slaveOf starts a slave of number 17 and gives our end of its line.
func slaveOf(t *testing.T, kind string) *practice.Pty {
	t.Helper()
	return slavesOf(t, kind, "17")
}

// slavesOf starts slaves of some numbers, with a comma between; libmodbus is one alone.
func slavesOf(t *testing.T, kind, units string) *practice.Pty {
	t.Helper()
	line := pty(t)
	switch kind {
	case "libmodbus":
		gcc := tool(t, "gcc", "gcc")
		program := filepath.Join(t.TempDir(), "slave")
		flags := strings.Fields(output(t, tool(t, "pkg-config", "pkg-config"),
			"--cflags", "--libs", "libmodbus"))
		built, err := exec.Command(gcc, append([]string{"-Wall", "-o", program, "testdata/slave.c"},
			flags...)...).CombinedOutput()
		if err != nil {
			t.Fatalf("the slave does not build; is libmodbus-dev installed? %v\n%s", err, built)
		}
		started(t, exec.Command(program, line.Path, units))
	case "pymodbus":
		started(t, exec.Command(tool(t, "/usr/bin/python3", "python3"), "testdata/slave.py", line.Path,
			units))
	}
	for i := 0; !line.Listened(); i++ {
		if i == 60_000 { // five minutes
			t.Fatalf("the slave did not open %s; is python3-serial installed?", line.Path)
		}
		time.Sleep(5 * time.Millisecond)
	}
	return line
}

func output(t *testing.T, name string, args ...string) string {
	t.Helper()
	cmd := exec.Command(name, args...)
	var complaints strings.Builder
	cmd.Stderr = &complaints
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %v\n%s%s", cmd, err, out, complaints.String())
	}
	return string(out)
}

func pty(t *testing.T) *practice.Pty {
	t.Helper()
	p, err := practice.OpenPty()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

// relay joins the slave's line to another and gives that: questions go through as they are, answers
// through spoil, which may be nil. An answer is what came within 5 ms.
func relay(t *testing.T, slave *practice.Pty, spoil func(answer []byte, onward func([]byte))) *practice.Pty {
	t.Helper()
	front := pty(t)
	ctx, cancel := context.WithCancel(context.Background())
	var carriers sync.WaitGroup
	t.Cleanup(func() { cancel(); carriers.Wait() })
	carry := func(from *practice.Pty, to func([]byte)) {
		buf := make([]byte, 1024)
		for ctx.Err() == nil {
			from.SetReadDeadline(time.Now().Add(50 * time.Millisecond))
			n, err := from.Read(buf)
			if err != nil {
				time.Sleep(time.Millisecond)
				continue
			}
			whole := append([]byte(nil), buf[:n]...)
			for {
				from.SetReadDeadline(time.Now().Add(5 * time.Millisecond))
				n, err := from.Read(buf)
				if err != nil {
					break
				}
				whole = append(whole, buf[:n]...)
			}
			to(whole)
		}
	}
	onward := func(b []byte) { front.Write(b) }
	carriers.Go(func() { carry(front, func(b []byte) { slave.Write(b) }) })
	carriers.Go(func() {
		carry(slave, func(b []byte) {
			if spoil == nil {
				onward(b)
				return
			}
			spoil(b, onward)
		})
	})
	return front
}

// everything reads every kind of number that the slaves hold.
func everything() Kiln {
	k := busKiln("big-blue",
		register("tenths", 17, 0, "int16"), register("minus", 17, 1, "int16"),
		register("abcd", 17, 10, "float32"), register("badc", 17, 12, "float32"),
		register("cdab", 17, 14, "float32"), register("dcba", 17, 16, "float32"),
		register("int32", 17, 20, "int32"), register("uint32", 17, 22, "uint32"),
		register("open", 17, 30, "int16"), register("room", 17, 7, "uint16"))
	for i := range k.Channels {
		c := &k.Channels[i]
		switch c.ID {
		case "badc", "cdab", "dcba":
			c.Order = string(c.ID)
		case "tenths":
			c.Scale = 0.1
		case "room":
			c.Scale, c.Function = 0.1, 4
		}
	}
	return k
}

var truths = map[kiln.ChannelID]kiln.Celsius{
	"tenths": 850.5, "minus": -50, "abcd": 1222.5, "badc": 1222.5, "cdab": 1222.5, "dcba": 1222.5,
	"int32": -50, "uint32": 65536, "room": 19.4,
}

// check says what is wrong with a sample of everything.
func wrongIn(s kiln.Sample) string {
	for _, v := range s.Values {
		if v.Channel == "open" {
			if v.Fault != kiln.Break || v.T.Known() {
				return fmt.Sprintf("0x7FFF is %+v", v)
			}
			continue
		}
		if want, ok := truths[v.Channel]; !ok || abs(float64(v.T-want)) > 1e-9 || v.Fault != kiln.Good {
			return fmt.Sprintf("%+v, want %v", v, want)
		}
	}
	return ""
}

// pollPort reads a real port until n samples came or the time is up.
func pollPort(t *testing.T, port string, k Kiln, n int) ([]kiln.Sample, Heard) {
	t.Helper()
	k.Every = 20 * time.Millisecond
	s := bussed(k)
	s.Port = port
	out := make(chan kiln.Sample)
	src, err := New(s, boot(), out)
	if err != nil {
		t.Fatal(err)
	}
	src.Sleep = func(ctx context.Context, d time.Duration) error {
		if d == settle {
			return nil
		}
		return sleep(ctx, d)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	ended := make(chan error, 1)
	go func() { ended <- src.Run(ctx); close(out) }()
	var all []kiln.Sample
	for sample := range out {
		if all = append(all, sample); len(all) == n {
			break
		}
	}
	heard := src.Heard()
	cancel()
	for range out {
	}
	<-ended
	if len(all) < n {
		t.Fatalf("%d samples of %d in 5 min: %q", len(all), n, heard.Words())
	}
	return all, heard
}

func TestForeignSlaves(t *testing.T) {
	for _, kind := range []string{"libmodbus", "pymodbus"} {
		t.Run(kind, func(t *testing.T) {
			t.Parallel()
			slave := slaveOf(t, kind)

			t.Run("plain", func(t *testing.T) {
				samples, heard := pollPort(t, relay(t, slave, nil).Path, everything(), 50)
				for _, s := range samples {
					if len(s.Values) != 10 {
						t.Fatalf("%d values: %+v %+v", len(s.Values), s, heard)
					}
					if w := wrongIn(s); w != "" {
						t.Fatal(w)
					}
				}
				if k := heard.Kilns[0]; k.Garbled+k.Silent > 0 {
					t.Errorf("%d garbled, %d silent: %+v", k.Garbled, k.Silent, k.BadLines)
				}
				for _, d := range heard.Kilns[0].Orders {
					if string(d.Channel) == d.Set &&
						d.Values[map[string]int{"abcd": 0, "badc": 1, "cdab": 2,
							"dcba": 3}[d.Set]] != 1222.5 {
						t.Errorf("%s", d.Says())
					}
				}
			})

			t.Run("exception", func(t *testing.T) {
				k := busKiln("big-blue", register("tenths", 17, 0, "int16"),
					register("none", 17, 99, "int16"))
				k.Channels[0].Scale = 0.1
				samples, heard := pollPort(t, relay(t, slave, nil).Path, k, 3)
				for _, s := range samples {
					if len(s.Values) != 1 || wrongIn(s) != "" {
						t.Errorf("%+v", s)
					}
				}
				if b := heard.Kilns[0].BadLines; len(b) == 0 ||
					!strings.Contains(b[0].Why.String(), "no such register") {
					t.Errorf("%+v", b)
				}
			})

			t.Run("damaged", func(t *testing.T) {
				var answers, spoilt atomic.Int64
				dice := rand.New(rand.NewPCG(9, 9))
				front := relay(t, slave, func(b []byte, onward func([]byte)) {
					answers.Add(1)
					switch dice.IntN(10) {
					case 0, 1, 2:
						spoilt.Add(1)
						b = practice.Damage(b, dice)
					case 3:
						spoilt.Add(1)
						b = append(append([]byte(nil), b...), b...)
					}
					onward(b)
				})
				samples, _ := pollPort(t, front.Path, everything(), scaled(6, 400))
				for _, s := range samples {
					if w := wrongIn(s); w != "" {
						t.Fatal(w)
					}
				}
				t.Logf("%d of %d answers spoilt, %d samples, none wrong", spoilt.Load(),
					answers.Load(), len(samples))
				if spoilt.Load() < 5 {
					t.Errorf("only %d answers spoilt", spoilt.Load())
				}
			})

			t.Run("late", func(t *testing.T) {
				var n atomic.Int64
				front := relay(t, slave, func(b []byte, onward func([]byte)) {
					if n.Add(1)%4 == 1 {
						time.AfterFunc(750*time.Millisecond, func() { onward(b) })
						return
					}
					onward(b)
				})
				samples, heard := pollPort(t, front.Path,
					busKiln("big-blue", register("minus", 17, 1, "int16"),
						register("abcd", 17, 10, "float32")), 2)
				for _, s := range samples {
					if w := wrongIn(s); w != "" {
						t.Fatal(w)
					}
				}
				if heard.Kilns[0].Silent == 0 {
					t.Error("no answer was late: nothing was tried")
				}
			})
		})
	}
}

// mbpoll sees in the slave what the master sees.
func TestThirdOpinion(t *testing.T) {
	mbpoll := tool(t, "mbpoll", "mbpoll")
	front := relay(t, slaveOf(t, "libmodbus"), nil)
	// Register 0 is number 1 here; -B takes the high word first.
	ask := func(args ...string) string {
		return output(t, mbpoll, append([]string{"-m", "rtu", "-b", "9600", "-P", "none", "-a", "17", "-1",
			"-q"}, append(args, front.Path)...)...)
	}
	for _, c := range []struct {
		channel kiln.ChannelID
		out     string
		want    string
	}{
		{"tenths", ask("-t", "4", "-r", "1"), `\[1\]:\s+8505\b`},
		{"abcd", ask("-t", "4:float", "-B", "-r", "11"), `\[11\]:\s+1222\.5\b`},
		{"cdab", ask("-t", "4:float", "-r", "15"), `\[15\]:\s+1222\.5\b`},
		{"room", ask("-t", "3", "-r", "8"), `\[8\]:\s+194\b`},
	} {
		if !regexp.MustCompile(c.want).MatchString(c.out) {
			t.Errorf("mbpoll sees of %s:\n%s", c.channel, c.out)
		}
	}
	samples, _ := pollPort(t, front.Path, everything(), 1)
	if w := wrongIn(samples[0]); w != "" {
		t.Error(w)
	}
}

// A pseudo terminal pair of socat in place of our own.
func TestSocatPair(t *testing.T) {
	socat := tool(t, "socat", "socat")
	dir := t.TempDir()
	here, there := filepath.Join(dir, "kiln"), filepath.Join(dir, "controller")
	cmd := exec.Command(socat, "pty,raw,echo=0,link="+here, "pty,raw,echo=0,link="+there)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { cmd.Process.Kill(); cmd.Wait() }()
	src, out := listening(t, columnsOn(here))
	var controller *os.File
	for i := 0; controller == nil; i++ {
		f, err := os.OpenFile(there, os.O_RDWR, 0)
		if err == nil {
			controller = f
		} else if i == 60_000 { // five minutes
			t.Fatal(err)
		}
		time.Sleep(5 * time.Millisecond)
	}
	defer controller.Close()
	for i := 0; ; i++ {
		fmt.Fprintf(controller, "%d.5\r\n", 20)
		select {
		case s := <-out:
			if s.Values[0].T != 20.5 {
				t.Errorf("%+v", s)
			}
			return
		case <-time.After(20 * time.Millisecond):
			if i == 15_000 { // five minutes
				t.Fatalf("nothing heard: %q", src.Heard().Words())
			}
		}
	}
}

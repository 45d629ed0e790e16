package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"lidwright/config"
	"lidwright/kiln/practice"
)

// A practice kiln that speaks five times a second; the test fails if anything was ever sent to it.
func practiceLine(t *testing.T, line func(time.Duration) string) string {
	t.Helper()
	plug := &practice.Plug{Link: filepath.Join(t.TempDir(), "usb-adapter-if00-port0")}
	if err := plug.Plug(); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		for n := 0; ctx.Err() == nil; n++ {
			plug.Write([]byte(line(time.Duration(n) * time.Second)))
			practice.Wait(ctx, 200*time.Millisecond)
		}
	}()
	t.Cleanup(func() {
		stop()
		<-done
		p := plug.Line()
		p.SetReadDeadline(time.Now().Add(50 * time.Millisecond))
		if n, _ := p.Read(make([]byte, 100)); n > 0 {
			t.Errorf("%d bytes were sent to the kiln", n)
		}
		plug.Unplug()
	})
	return plug.Link
}

// setUp runs `lidwright setup` with what is typed and gives all that was said and the error.
func setUp(t *testing.T, typed string, args ...string) (string, error) {
	t.Helper()
	root := rootCommand()
	var out strings.Builder
	root.SetArgs(append([]string{"setup"}, args...))
	root.SetIn(strings.NewReader(typed))
	root.SetOut(&out)
	root.SetErr(&out)
	err := root.ExecuteContext(t.Context())
	return out.String(), err
}

// The dialogue with a cold practice kiln of two probes: the second number is the room. The settings
// that come out of it load, and hold what was answered.
func TestSetUpByDialogue(t *testing.T) {
	t.Parallel()
	k := practice.Kiln{Curves: []practice.Curve{{Programme: practice.MustParse("20>25@5")},
		{Programme: practice.MustParse("20>21@1")}}}
	port := practiceLine(t, func(at time.Duration) string { return string(k.Said(at)) })
	file := filepath.Join(t.TempDir(), "lidwright.toml")
	typed := []string{"Big Blue", "big-blue", "usb", port, "", // kiln, port, speaks by itself
		"", "probe", "c", "s", // the first number, which nobody takes for the probe unasked: °C, S
		"room", "c", // the second
		"", "1290", // no limit is no answer
		"95", "", "shelves are wanted before noon", // the mark needs a reason
		"The Long Shed", "in", ""}
	out, err := setUp(t, strings.Join(typed, "\n")+"\n", "--config", file)
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, want := range []string{
		"Wiring is for a licensed or otherwise qualified electrician.", "Use an isolated USB adapter",
		"Before anyone works on the kiln: our cable off", "Written for electric kilns",
		`"Big Blue": 1 to 40 of the signs a-z, 0-9 and -`, `"usb": a path begins with /`,
		"listening at 9600 baud", "lines at 9600 baud 8N1: columns with a comma between: 1 is 20",
		", 2 is 20",
		// 20 °F = -6.7 °C by the definition of the scale
		"Column 1 says 20 now: 20.0 °C if the line is in °C, -6.7 °C if it is in °F.",
		"An answer is needed", "Written. ",
	} {
		if !strings.Contains(out, want) && !strings.Contains(strings.ToLower(out), strings.ToLower(want)) {
			t.Errorf("no %q", want)
		}
	}
	if !strings.Contains(out, "ok    sends     big-blue: nothing, it only listens") ||
		!strings.Contains(out, " in 10 s, last 1 20.") {
		t.Errorf("the last try is not told")
	}
	cfg, err := config.Load(file, nil, nil)
	if err != nil {
		b, _ := os.ReadFile(file)
		t.Fatalf("%v\n%s", err, b)
	}
	one := cfg.Kilns[0]
	got := fmt.Sprint(cfg.Site.Name, cfg.Units.Length, one.ID, one.Port == port, one.Speed, one.Framing,
		one.Reply, one.LimitC, one.KeepShutAboveC, one.KeepShutReason, one.Channels, one.Probes, one.Control)
	want := "The Long Shed in big-blue true 9600 8N1 columns 1290 95 shelves are wanted before noon [{1 1 c  1 0 probe 1 3 0 int16 abcd} {2 2 c  1 0 room 1 3 0 int16 abcd}] [{1 S 2  true}] 1"
	if strings.ReplaceAll(got, " ", "") != strings.ReplaceAll(want, " ", "") {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if t.Failed() {
		t.Log(out)
	}
}

// The same from a file of answers, added to settings that are there: every line of them stays.
func TestSetUpFromAnswers(t *testing.T) {
	t.Parallel()
	port := practiceLine(t, func(at time.Duration) string {
		return fmt.Sprintf("top=%.1fF;fan=on\r\n", 66+at.Minutes())
	})
	folder := t.TempDir()
	file, answers := filepath.Join(folder, "lidwright.toml"), filepath.Join(folder, "answers")
	before := "# ours\n[store]\nfolder = \"/var/lib/x\" # here\n[kiln.little-red]\nport = \"\"\nlimit_c = 1240"
	if err := os.WriteFile(file, []byte(before), 0o640); err != nil {
		t.Fatal(err)
	}
	said := fmt.Sprintf("kiln = \"big-blue\"\nport = %q\nlimit_c = 1290\ntype_top = \"N\"\n", port)
	for _, c := range []struct{ more, says string }{
		{"", "Nothing was written."}, // without a yes a file that is there is left alone
		{"limit = 5\n", "answers:5: limit: is no question; the nearest is limit_c"},
		{"unit_low = \"c\"\nwrite = true\n", "answers:5: unit_low: was not asked"},
		{"unit_top = \"mm\"\n", "answers:5: unit_top: \"mm\": must be one of c, f, k"},
		{"[site]\nname = 1\n", "answers:5: site: must be one text, number or true or false"},
	} {
		if err := os.WriteFile(answers, []byte(said+c.more), 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := setUp(t, "", "--config", file, "--answers", answers)
		if out += fmt.Sprint(err); !strings.Contains(out, c.says) {
			t.Errorf("%q: no %q in\n%s", c.more, c.says, out)
		}
		var wrong config.Mistakes
		if c.more != "" && !errors.As(err, &wrong) {
			t.Errorf("%q: %T is no wrong use", c.more, err)
		}
		if b, _ := os.ReadFile(file); string(b) != before {
			t.Fatalf("%q: the settings were changed without a yes", c.more)
		}
	}
	// Answers with the names that they had before are taken over, and told.
	os.WriteFile(answers, []byte(said+"unpacking_mark_c = 90\nunpacking_reason = \"thin ware\"\nwrite = true\n"), 0o600)
	out, err := setUp(t, "", "--config", file, "--answers", answers)
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	b, _ := os.ReadFile(file)
	if !strings.HasPrefix(string(b), before+"\n\n[kiln.big-blue]\n") {
		t.Errorf("what was there did not stay:\n%s", b)
	}
	cfg, err := config.Load(file, nil, nil)
	if err != nil {
		t.Fatalf("%v\n%s", err, b)
	}
	if k := cfg.Kilns[1]; k.KeepShutAboveC != 90 || k.KeepShutReason != "thin ware" ||
		!strings.Contains(out, "unpacking_mark_c is called keep_shut_above_c now") {
		t.Errorf("kept shut above %v, %q; said\n%s", k.KeepShutAboveC, k.KeepShutReason, out)
	}
	if len(cfg.Kilns) != 2 || cfg.Kilns[1].Reply != "keyvalue" || cfg.Kilns[1].Separator != ";" ||
		cfg.Kilns[1].Channels[0].Unit != "f" || cfg.Kilns[1].Probes[0].Type != 'N' {
		t.Errorf("%+v", cfg.Kilns)
	}
	if info, _ := os.Stat(file); info.Mode().Perm() != 0o640 {
		t.Errorf("rights are %v now", info.Mode())
	}
	// The same kiln once more is refused before anything is listened to.
	if out, err := setUp(t, "", "--config", file, "--answers", answers); err == nil ||
		!strings.Contains(err.Error(), "has a kiln big-blue already") {
		t.Errorf("%v\n%s", err, out)
	}
}

// A column that counts the lines is no temperature, and where several numbers could be the probe a file of
// answers must name it. The pace that is written is that of the line, of which the daemon then leaves nothing
// out.
func TestSetUpTakesNoCounter(t *testing.T) {
	t.Parallel()
	port := practiceLine(t, func(at time.Duration) string {
		return fmt.Sprintf("%d,%.1f,%.1f\r\n", 1+int(at.Seconds()),
			20.4+0.1*float64(int(at.Seconds())%3), 19.9)
	})
	folder := t.TempDir()
	file, answers := filepath.Join(folder, "lidwright.toml"), filepath.Join(folder, "answers")
	said := fmt.Sprintf("kiln = \"big-blue\"\nport = %q\nlimit_c = 1290\nunit_2 = \"c\"\nwrite = true\n",
		port)
	if err := os.WriteFile(answers, []byte(said), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := setUp(t, "", "--config", file, "--answers", answers)
	if _, gone := os.Stat(file); gone == nil || err == nil || !strings.Contains(err.Error(), "channel_2") {
		t.Errorf("two numbers that could be the probe, none named: %v\n%s", err, out)
	}
	if !strings.Contains(out, "goes up by the same step on every line") {
		t.Errorf("the counter is not told:\n%s", out)
	}
	if err := os.WriteFile(answers, []byte(said+"channel_2 = \"probe\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err = setUp(t, "", "--config", file, "--answers", answers); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	cfg, err := config.Load(file, nil, nil)
	if err != nil || len(cfg.Kilns[0].Channels) != 1 || cfg.Kilns[0].Channels[0].From != "2" {
		t.Errorf("%v %+v", err, cfg.Kilns)
	}
}

// A controller that must be asked is sent nothing before a yes, and then what was announced.
func TestSetUpAsks(t *testing.T) {
	t.Parallel()
	p := newPty(t)
	t.Cleanup(func() { p.Close() })
	asked := make(chan string, 100)
	go func() {
		buf := make([]byte, 64)
		for t.Context().Err() == nil {
			p.SetReadDeadline(time.Now().Add(20 * time.Second))
			n, err := p.Read(buf)
			if err != nil {
				practice.Wait(t.Context(), 20*time.Millisecond)
				continue
			}
			asked <- string(buf[:n])
			p.Write([]byte("19.4\r\n"))
		}
	}()
	file := filepath.Join(t.TempDir(), "lidwright.toml")
	typed := func(send string) string {
		return strings.Join([]string{"big-blue", p.Path, "no", "19200", "7E1", "RUN", "READ?", "c", "",
			"1290", "", "", "", send, ""}, "\n") + "\n"
	}
	out, err := setUp(t, typed("no"), "--config", file)
	if _, gone := os.Stat(file); err != nil || gone == nil || len(asked) != 0 ||
		!strings.Contains(out, "Nothing was written.") {
		t.Errorf("without a yes: %v, asked %d times\n%s", err, len(asked), out)
	}
	if out, err = setUp(t, typed("yes"), "--config", file); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, want := range []string{`"RUN" does not end in ?`,
		`ok    sends     big-blue: sends "READ?" every 1s, and nothing else`, "last 1 19.4 °C", "Written."} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if len(asked) == 0 {
		t.Error("it was never asked")
	}
	for len(asked) > 0 {
		if got := <-asked; got != "READ?\n" {
			t.Errorf("sent %q", got)
		}
	}
	cfg, err := config.Load(file, nil, nil)
	if err != nil || cfg.Kilns[0].PollBytes[0] != "READ?" || cfg.Kilns[0].Framing != "7E1" ||
		cfg.Kilns[0].Speed != 19200 {
		t.Errorf("%v %+v", err, cfg.Kilns)
	}
}

func TestSetUpWithoutALine(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "lidwright.toml")
	if out, err := setUp(t, "big-blue\nnone\n1290\n\n", "--config", file); err == nil ||
		!strings.Contains(err.Error(), `the answers ended at the question "site"`) {
		t.Errorf("half answered: %v\n%s", err, out)
	}
	if _, err := os.Stat(file); err == nil {
		t.Error("half answered, and written")
	}
	if out, err := setUp(t, "big-blue\nnone\n1290\n\n\n\n\n", "--config", file); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	cfg, err := config.Load(file, nil, nil)
	if err != nil || len(cfg.Kilns) != 1 || cfg.Kilns[0].Port != "" {
		t.Errorf("%v %+v", err, cfg.Kilns)
	}
	p := newPty(t)
	t.Cleanup(func() { p.Close() })
	if _, err := setUp(t, "little-red\n"+p.Path+"\n\n", "--config", file, "--seconds", "1"); err == nil ||
		!strings.Contains(err.Error(), "nothing was heard in 1s. Is the controller on") {
		t.Errorf("a silent line: %v", err)
	}
}

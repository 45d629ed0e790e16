package mqtt

import (
	"bufio"
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"lidwright/api/wire"
	"lidwright/daemon/notice"
	"lidwright/kiln/message"
)

const atMost = 5 * time.Minute // against hanging

// broker is Debian's mosquitto on a free port of loopback, with TLS and the user kiln with a word as
// password.
type broker struct {
	t       *testing.T
	folder  string
	port    string
	trust   *x509.CertPool
	running *exec.Cmd
	log     *lockedBuffer
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func aBroker(t *testing.T) *broker {
	t.Helper()
	b := &broker{t: t, folder: t.TempDir(), log: &lockedBuffer{}}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	form := x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "broker"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, &form, &form, &key.PublicKey, key)
	raw, bad := x509.MarshalECPrivateKey(key)
	whole := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	l, busy := net.Listen("tcp", "127.0.0.1:0")
	if err := errors.Join(err, bad, busy, os.WriteFile(b.at("cert.pem"), whole, 0o600),
		os.WriteFile(b.at("key.pem"), pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: raw}),
			0o600)); err != nil {
		t.Fatal(err)
	}
	_, b.port, _ = net.SplitHostPort(l.Addr().String())
	l.Close()
	b.trust = x509.NewCertPool()
	b.trust.AppendCertsFromPEM(whole)
	if out, err := exec.Command("mosquitto_passwd", "-b", "-c", b.at("passwords"), "kiln",
		"a word").CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_passwd: %v\n%s", err, out)
	}
	conf := fmt.Sprintf("listener %s 127.0.0.1\ncertfile %s\nkeyfile %s\npassword_file %s\nallow_anonymous false\nlog_type all\nlog_dest stderr\npersistence false\nmax_queued_messages 0\nuser root\n",
		b.port, b.at("cert.pem"), b.at("key.pem"), b.at("passwords"))
	if err := os.WriteFile(b.at("conf"), []byte(conf), 0o600); err != nil {
		t.Fatal(err)
	}
	b.start()
	t.Cleanup(b.stop)
	return b
}

func (b *broker) at(name string) string { return filepath.Join(b.folder, name) }

func (b *broker) start() {
	b.t.Helper()
	b.running = exec.Command("mosquitto", "-c", b.at("conf"))
	b.running.Stderr = b.log
	if err := b.running.Start(); err != nil {
		b.t.Fatal(err)
	}
	b.until("it listens", func() bool {
		c, err := net.Dial("tcp", "127.0.0.1:"+b.port)
		if err == nil {
			c.Close()
		}
		return err == nil
	})
}

func (b *broker) stop() {
	if b.running != nil {
		b.running.Process.Kill()
		b.running.Wait()
		b.running = nil
	}
}

func (b *broker) until(what string, true func() bool) {
	b.t.Helper()
	for end := time.Now().Add(atMost); !true(); {
		if time.Now().After(end) {
			b.t.Fatalf("waited in vain until %s; the broker's log:\n%s", what, b.log)
		}
		time.Sleep(2 * time.Millisecond)
	}
}

// client is a program of mosquitto, with what it needs to be let in.
func (b *broker) client(name string, args ...string) *exec.Cmd {
	return exec.Command(name, append([]string{"-h", "127.0.0.1", "-p", b.port, "--cafile", b.at("cert.pem"),
		"-u", "kiln", "-P", "a word", "-V", "5", "-q", "1"}, args...)...)
}

// display is one that listens to everything below a topic from now on: mosquitto_sub.
type display struct {
	b     *broker
	lines chan string
}

func (b *broker) display(topic string) *display {
	b.t.Helper()
	cmd := b.client("mosquitto_sub", "-t", topic, "-F", "%r %t %p")
	out, err := cmd.StdoutPipe()
	if err != nil {
		b.t.Fatal(err)
	}
	before := strings.Count(b.log.String(), "Sending SUBACK")
	if err := cmd.Start(); err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	d := &display{b, make(chan string, 20000)}
	go func() {
		defer close(d.lines)
		for s := bufio.NewScanner(out); s.Scan(); {
			d.lines <- s.Text()
		}
	}()
	b.until("the display listens", func() bool {
		return strings.Count(b.log.String(), "Sending SUBACK") > before
	})
	return d
}

// next is the next line: 1 or 0 for retained or not, topic, payload.
func (d *display) next() string {
	d.b.t.Helper()
	select {
	case l, open := <-d.lines:
		if !open {
			d.b.t.Fatal("the display has ended")
		}
		return l
	case <-time.After(atMost):
		d.b.t.Fatalf("nothing more came; the broker's log:\n%s", d.b.log)
	}
	return ""
}

// see waits for a line.
func (d *display) see(line string) {
	d.b.t.Helper()
	for d.next() != line {
	}
}

// studio is what the kilns of a test do, and its publisher with a clock that the test turns.
type studio struct {
	mu    sync.Mutex
	kilns []Kiln
	p     *Publisher
	tick  chan time.Time
	end   func()
}

func (b *broker) studio(change func(*Publisher)) *studio {
	b.t.Helper()
	s := &studio{tick: make(chan time.Time),
		kilns: []Kiln{{ToMeasure: 3, KilnNow: wire.KilnNow{Kiln: "big-blue", State: "heating", Fresh: true,
			Hot: true, TemperatureC: new(612.4), LastTemperatureC: new(612.4),
			RateCPerH: new(101.0), FiringName: new("big-blue/8"), Hours: new(5.5), PeakC: new(612.4),
			HeatWorkC: new(601.0), Cone: new("022+0.3"),
			ConeWords: new(message.New("a third of the way from cone {1} to {2}", "022", "021")),
			PeakAt:    new("2026-02-01T20:40:00+01:00"), KeepShutAboveC: new(50.0)}},
			{KilnNow: wire.KilnNow{Kiln: "little-red", State: "no_reading"}}}}
	s.p = &Publisher{Settings: Settings{Broker: &url.URL{Scheme: "mqtts", Host: "127.0.0.1:" + b.port},
		User: "kiln", Password: []byte("a word"), Roots: b.trust, Topic: "studio/kilns",
		Site: "0193c0c0-0000-7000-8000-000000000000", SiteName: "The studio", Version: "test",
		Pages: "http://pi.local:8573"},
		Kilns: func(context.Context) ([]Kiln, error) {
			s.mu.Lock()
			defer s.mu.Unlock()
			return slices.Clone(s.kilns), nil
		},
		Tick:  func(context.Context) <-chan time.Time { return s.tick },
		Pause: func(int) time.Duration { return 10 * time.Millisecond }}
	if change != nil {
		change(s.p)
	}
	ctx, cancel := context.WithCancel(b.t.Context())
	done := make(chan error, 1)
	go func() { done <- s.p.Run(ctx) }()
	ended := false
	s.end = func() {
		if !ended {
			ended = true
			cancel()
			if err := <-done; err != nil {
				b.t.Error(err)
			}
		}
	}
	b.t.Cleanup(s.end)
	return s
}

func (s *studio) set(k ...Kiln) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.kilns = k
}

func (b *broker) connected(s *studio) {
	b.t.Helper()
	b.until("it is connected", func() bool { ok, _ := s.p.Connected(); return ok })
}

// told waits until one look at the kilns has been told: the second tick is taken when the first is done.
func (s *studio) told() {
	s.tick <- time.Time{}
	s.tick <- time.Time{}
}

// TestDisplayThatComesLater: who listens later finds what holds now, and nothing of what is not known.
func TestDisplayThatComesLater(t *testing.T) {
	b := aBroker(t)
	s := b.studio(nil)
	b.connected(s)
	s.told()
	d := b.display("studio/#")
	got := map[string]bool{}
	want := []string{
		"1 studio/kilns/status online", "1 studio/kilns/big-blue/state heating",
		"1 studio/kilns/big-blue/reading fresh",
		"1 studio/kilns/big-blue/temperature_c 612.4", "1 studio/kilns/big-blue/rate_c_per_h 101",
		"1 studio/kilns/big-blue/hot true",
		"1 studio/kilns/big-blue/still_hot false", "1 studio/kilns/big-blue/over_limit false",
		"1 studio/kilns/big-blue/firing big-blue/8",
		"1 studio/kilns/big-blue/hours 5.5", "1 studio/kilns/big-blue/peak_c 612.4",
		"1 studio/kilns/big-blue/heat_work_c 601",
		"1 studio/kilns/big-blue/cone 022+0.3",
		"1 studio/kilns/big-blue/cone_words a third of the way from cone 022 to 021",
		"1 studio/kilns/big-blue/peak_about 2026-02-01T20:40:00+01:00",
		"1 studio/kilns/big-blue/keep_shut_above_c 50",
		"1 studio/kilns/big-blue/bars_to_measure 3",
		"1 studio/kilns/little-red/state no_reading", "1 studio/kilns/little-red/reading none",
		"1 studio/kilns/little-red/hot false",
		"1 studio/kilns/little-red/still_hot false", "1 studio/kilns/little-red/over_limit false",
		"1 studio/kilns/little-red/bars_to_measure 0",
	}
	for range want {
		got[d.next()] = true
	}
	for _, w := range want {
		if !got[w] {
			t.Errorf("not told: %s; got %v", w, got)
		}
	}
	// A kiln that is not heard any more has no temperature: neither an old one nor nought.
	s.set(Kiln{KilnNow: wire.KilnNow{Kiln: "big-blue", State: "no_reading"}})
	s.told()
	d.see("0 studio/kilns/big-blue/state no_reading") // topics go out by their names
	d.see("0 studio/kilns/big-blue/temperature_c ")
}

// TestStatusSaysThatNothingIsTold: at a clean end, and by the last will when the program is gone.
func TestStatusSaysThatNothingIsTold(t *testing.T) {
	b := aBroker(t)
	d := b.display("studio/kilns/status")
	s := b.studio(nil)
	b.connected(s)
	s.told()
	d.see("0 studio/kilns/status online")
	s.end()
	d.see("0 studio/kilns/status offline")

	cut := b.studio(func(p *Publisher) { p.Broker = through(t, p.Broker) })
	b.connected(cut)
	cut.told()
	d.see("0 studio/kilns/status online")
	cutAll(t)
	d.see("0 studio/kilns/status offline")
}

// through puts a relay between a publisher and its broker, which cutAll cuts as a cable is cut.
func through(t *testing.T, broker *url.URL) *url.URL {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var ends []net.Conn
	cuts[t] = func() {
		l.Close()
		mu.Lock()
		defer mu.Unlock()
		for _, c := range ends {
			c.Close()
		}
	}
	t.Cleanup(cuts[t])
	go func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			out, err := net.Dial("tcp", broker.Host)
			if err != nil {
				in.Close()
				continue
			}
			mu.Lock()
			ends = append(ends, in, out)
			mu.Unlock()
			go io.Copy(in, out)
			go io.Copy(out, in)
		}
	}()
	return &url.URL{Scheme: broker.Scheme, Host: l.Addr().String()}
}

var cuts = map[*testing.T]func(){}

func cutAll(t *testing.T) { cuts[t]() }

// TestBrokerAwayAndBack: a broker that lost all it had is told all again.
func TestBrokerAwayAndBack(t *testing.T) {
	b := aBroker(t)
	s := b.studio(nil)
	b.connected(s)
	s.told()
	b.stop()
	b.until("it notices", func() bool { ok, why := s.p.Connected(); return !ok && why != "" })
	s.told() // into the void
	if answer, taken := s.p.Carry(t.Context(), notice.Delivery{Body: []byte("{}")}); taken ||
		answer != "no answer" {
		t.Errorf("a notice meanwhile: %q, %v", answer, taken)
	}
	b.start()
	d := b.display("studio/#")
	b.connected(s)
	s.told()
	d.see("0 studio/kilns/big-blue/temperature_c 612.4")
	d.see("0 studio/kilns/status online")
	// All of it once more within a minute, for one that forgets; nothing that is not known.
	for range repeat + 1 {
		s.tick <- time.Time{}
	}
	d.see("0 studio/kilns/big-blue/temperature_c 612.4")
	d.see("0 studio/kilns/little-red/still_hot false")
}

// TestNotLetIn: the reasons are told in words, at a try and while it goes on.
func TestNotLetIn(t *testing.T) {
	b := aBroker(t)
	for want, spoil := range map[string]func(*Publisher){
		"the broker refuses the user or the password": func(p *Publisher) {
			p.Password = []byte("another")
		},
		"the broker refuses the user or the password ": func(p *Publisher) {
			p.User, p.Password = "",
				nil
		},
		"the broker's certificate is not trusted": func(p *Publisher) { p.Roots = nil },
		"no connection to the broker; it must speak MQTT 5.0": func(p *Publisher) {
			p.Broker = &url.URL{Scheme: "mqtts", Host: "127.0.0.1:1"}
		},
		// without TLS
		"no connection to the broker; it must speak MQTT 5.0 ": func(p *Publisher) {
			p.Broker = &url.URL{Scheme: "mqtt", Host: p.Broker.Host}
		},
	} {
		s := b.studio(spoil)
		b.until(want, func() bool {
			ok, why := s.p.Connected()
			return !ok && why == strings.TrimSpace(want)
		})
		if err := s.p.Try(t.Context()); err == nil || err.Error() != strings.TrimSpace(want) {
			t.Errorf("a try says %v, want %q", err, want)
		}
		s.end()
	}
	good := b.studio(nil)
	b.connected(good)
	if err := good.p.Try(t.Context()); err != nil {
		t.Errorf("a good one: %v", err)
	}
	if ok, _ := good.p.Connected(); !ok {
		t.Error("a try took the place of the one that runs")
	}
}

// TestOneHertzForAnHour: 3,600 looks a second apart, told as quickly as the broker takes them, come in order
// and without one missing.
func TestOneHertzForAnHour(t *testing.T) {
	b := aBroker(t)
	d := b.display("studio/kilns/big-blue/temperature_c")
	const hour = 3600
	look := 0
	s := b.studio(func(p *Publisher) {
		p.Kilns = func(context.Context) ([]Kiln, error) {
			look++
			return []Kiln{{KilnNow: wire.KilnNow{Kiln: "big-blue", State: "heating",
				TemperatureC: new(float64(look-1) / 10)}}}, nil
		}
	})
	b.connected(s)
	for range hour + 1 {
		s.tick <- time.Time{}
	}
	for i := 0; i < hour; {
		_, value, _ := strings.Cut(strings.TrimPrefix(d.next(), "0 "), " ")
		at, err := strconv.ParseFloat(value, 64)
		switch was := int(at*10 + 0.5); {
		case err != nil:
			t.Fatalf("at %d: %q", i, value)
		case was == i:
			i++
		case was != i-1: // the same once more is what is repeated each minute
			t.Fatalf("%v came where %v was due", at, float64(i)/10)
		}
	}
}

// TestNobodyWritesToUs: of all that the broker heard, our program asked for nothing, and no message of
// discovery names a topic to write to.
func TestNobodyWritesToUs(t *testing.T) {
	b := aBroker(t)
	s := b.studio(func(p *Publisher) { p.Discovery = "homeassistant" })
	b.connected(s)
	s.told()
	d := b.display("homeassistant/#")
	b.until("ten and eight are there", func() bool { return len(d.lines) >= 18 })
	told := s.p.values(s.kilns)
	told["studio/kilns/status"] = online
	ids := map[string]bool{}
	for range 18 {
		_, line, _ := strings.Cut(d.next(), " ")
		topic, body, _ := strings.Cut(line, " ")
		var e map[string]any
		if err := json.Unmarshal([]byte(body), &e); err != nil {
			t.Fatalf("%s: %v", topic, err)
		}
		for key := range e {
			if strings.Contains(key, "command") {
				t.Errorf("%s has %s", topic, key)
			}
		}
		if _, there := told[e["state_topic"].(string)]; !there {
			t.Errorf("%s names %s, which nobody tells", topic, e["state_topic"])
		}
		for _, a := range e["availability"].([]any) {
			if _, there := told[a.(map[string]any)["topic"].(string)]; !there {
				t.Errorf("%s names %v, which nobody tells", topic, a)
			}
		}
		// By the open convention: PREFIX/COMPONENT/NODE/OBJECT/config of the signs a-z, A-Z, 0-9, _ and -.
		if parts := strings.Split(topic, "/"); len(parts) != 5 || parts[4] != "config" ||
			strings.Trim(parts[2]+parts[3],
				"abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-") != "" {
			t.Errorf("topic %s", topic)
		}
		ids[e["unique_id"].(string)] = true
	}
	if len(ids) != 18 {
		t.Errorf("%d ids of 18", len(ids))
	}
	if out, err := b.client("mosquitto_pub", "-t", "studio/kilns/big-blue/set", "-m",
		"1000").CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	s.told()
	log := b.log.String()
	if !strings.Contains(log, "Received PUBLISH from lidwright-") {
		t.Error("the broker's log does not name us")
	}
	for line := range strings.Lines(log) {
		if strings.Contains(line, "lidwright-") && (strings.Contains(line, "SUBSCRIBE") ||
			strings.Contains(line, "Sending PUBLISH")) {
			t.Errorf("the broker says: %s", line)
		}
	}
}

// TestNoticeIsCarried: a notice goes to TOPIC/notice as the webhook has it, and is not kept there.
func TestNoticeIsCarried(t *testing.T) {
	b := aBroker(t)
	s := b.studio(nil)
	b.connected(s)
	d := b.display("studio/kilns/notice")
	body := `{"event":"kiln.over_limit","says":"Big-blue reads over its limit. ` + string(notice.Last) + `"}`
	if answer, taken := s.p.Carry(t.Context(), notice.Delivery{Body: []byte(body)}); !taken ||
		answer != "taken" {
		t.Errorf("%q, %v", answer, taken)
	}
	if got := d.next(); got != "0 studio/kilns/notice "+body {
		t.Error(got)
	}
	later := b.display("studio/#")
	s.told()
	for _, l := range []string{later.next(), later.next()} {
		if strings.Contains(l, "notice") {
			t.Errorf("kept: %s", l)
		}
	}
}

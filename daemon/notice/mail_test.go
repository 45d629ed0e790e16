package notice

import (
	"bufio"
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
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"lidwright/kiln"
	"lidwright/kiln/record"
)

// letter is one e-mail as the relay took it and Python's email package read it (RFC 5322, RFC 2047).
type letter struct {
	Port                                   int
	Sender, Subject, Text, ID, Auto, Event string
	To                                     []string
	Date, User                             string
	TLS                                    bool
}

// aRelay starts aiosmtpd, a relay by another hand, and gives its address, who vouches for it and what it
// takes.
func aRelay(t *testing.T, how string) (address string, trust *x509.CertPool, took <-chan letter) {
	t.Helper()
	folder := t.TempDir()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	form := x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "relay"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, &form, &form, &key.PublicKey, key)
	raw, bad := x509.MarshalECPrivateKey(key)
	certificate, private := filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	whole := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	if err := errors.Join(err, bad, os.WriteFile(certificate, whole, 0o600),
		os.WriteFile(private, pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: raw}),
			0o600)); err != nil {
		t.Fatal(err)
	}
	trust = x509.NewCertPool()
	trust.AppendCertsFromPEM(whole)

	cmd := exec.Command("/usr/bin/python3", "testdata/relay.py", how, certificate, private)
	hold, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { hold.Close(); cmd.Wait() })
	letters := make(chan letter, 10)
	lines := bufio.NewScanner(out)
	var first letter
	if !lines.Scan() || json.Unmarshal(lines.Bytes(), &first) != nil || first.Port == 0 {
		t.Fatalf("the relay did not say its port but %q", lines.Text())
	}
	go func() {
		defer close(letters)
		for lines.Scan() {
			var l letter
			json.Unmarshal(lines.Bytes(), &l)
			letters <- l
		}
	}()
	return fmt.Sprintf("127.0.0.1:%d", first.Port), trust, letters
}

// TestMailIsRead: what a relay by another hand takes says what the webhook's message says, its cautions too.
func TestMailIsRead(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	at := kiln.Stamp{Wall: time.Date(2026, 2, 1, 21, 30, 0, 0, time.UTC), Trusted: true}
	m := OfKiln(record.Notice{Event: record.OverLimitNotice, State: record.NoticeBegan, Kiln: "big-blue",
		T: 1301, At: at}, "0193c0c1-0000-7000-8000-000000000005", "Töpferei", berlin)
	body, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	for _, how := range []string{"starttls", "tls"} {
		t.Run(how, func(t *testing.T) {
			relay, trust, took := aRelay(t, how)
			carrier := Mail{Relay: relay, Secure: how, Roots: trust, User: "kiln", Password: "a word",
				From: "kiln@studio.example", To: "potter@studio.example", Pages: "http://pi.local:8573"}
			if answer, ok := carrier.Carry(t.Context(), Delivery{Notice: m.ID, Event: m.Event,
				Body: body}); !ok || answer != "250" {
				t.Fatalf("answered %q, %v", answer, ok)
			}
			got := <-took
			if want := "Töpferei: Big-blue reads over its limit"; got.Subject != want {
				t.Errorf("subject %q, want %q", got.Subject, want)
			}
			if text := strings.ReplaceAll(got.Text, "\r\n", "\n"); text != m.Says+
				"\n\nhttp://pi.local:8573/kiln/big-blue\n2026-02-01 22:30 +01:00\n" ||
				!strings.Contains(text, "if it is safe") || !strings.Contains(text, string(Last)) {
				t.Errorf("the text is %q", text)
			}
			if got.Sender != "kiln@studio.example" || strings.Join(got.To, " ") != "potter@studio.example" ||
				!got.TLS || got.User != "kiln" {
				t.Errorf("from %s to %v as %q, TLS %v", got.Sender, got.To, got.User, got.TLS)
			}
			if got.ID != "<0193c0c1-0000-7000-8000-000000000005.lidwright@studio.example>" ||
				got.Auto != "auto-generated" || got.Event != "kiln.over_limit" ||
				got.Date != "2026-02-01T22:30:00+01:00" {
				t.Errorf("head: %+v", got)
			}
		})
	}
}

// TestMailIsNotTaken: each reason says itself in a word or two, without address or password.
func TestMailIsNotTaken(t *testing.T) {
	body, err := json.Marshal(aMessage("kiln.quiet"))
	if err != nil {
		t.Fatal(err)
	}
	secured, trust, _ := aRelay(t, "starttls")
	plain, _, took := aRelay(t, "none")
	silent, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close() // takes the connection and says nothing
	gone, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	gone.Close()
	whole := Mail{Relay: secured, Secure: "starttls", Roots: trust, User: "kiln", Password: "a word",
		From: "kiln@studio.example", To: "potter@studio.example", Patience: 5 * time.Minute}
	for want, spoil := range map[string]func(*Mail){
		"535":                            func(m *Mail) { m.Password = "another" },
		"550":                            func(m *Mail) { m.To = "refused@studio.example" },
		"its certificate is not trusted": func(m *Mail) { m.Roots = nil },
		"it offers no TLS":               func(m *Mail) { m.Relay = plain },
		"no answer":                      func(m *Mail) { m.Relay = gone.Addr().String() },
		"no answer ": func(m *Mail) {
			m.Relay, m.Patience = silent.Addr().String(), 50*time.Millisecond
		},
	} {
		m := whole
		spoil(&m)
		if answer, taken := m.Carry(t.Context(), Delivery{Notice: "n", Body: body}); taken ||
			answer != strings.TrimSpace(want) {
			t.Errorf("%q, %v; want %q", answer, taken, want)
		}
		// who it is for is not tried
		if err := m.Try(t.Context()); (err == nil) != (want == "550") ||
			err != nil && err.Error() != strings.TrimSpace(want) {
			t.Errorf("a try says %v, want %q", err, want)
		}
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if answer, taken := whole.Carry(ended, Delivery{Notice: "n", Body: body}); taken || answer != "" {
		t.Errorf("at the end of the program: %q, %v", answer, taken)
	}
	if answer, taken := whole.Carry(t.Context(), Delivery{Body: []byte("{}")}); taken ||
		answer != "the message cannot be written" {
		t.Errorf("no message: %q, %v", answer, taken)
	}
	open := whole
	open.Relay, open.Secure, open.User = plain, "none", ""
	if answer, taken := open.Carry(t.Context(), Delivery{Notice: "n", Body: body}); !taken {
		t.Fatalf("in the clear: %q", answer)
	}
	if got := <-took; got.TLS || got.User != "" {
		t.Errorf("in the clear: %+v", got)
	}
}

// TestMailWaitsInTheOutbox: a relay that is away costs no message, and quiet hours hold for e-mail as for
// the others.
func TestMailWaitsInTheOutbox(t *testing.T) {
	relay, trust, took := aRelay(t, "starttls")
	tray := newTray()
	away := Mail{Relay: "127.0.0.1:1", Secure: "starttls", From: "kiln@studio.example",
		To: "potter@studio.example"}
	back := Mail{Relay: relay, Secure: "starttls", Roots: trust, From: away.From, To: away.To}
	p := &Post{Outbox: tray, Now: time.Now, Pauses: []time.Duration{0, 0, 0},
		Receivers: []Receiver{{Name: "mail 1", Carrier: comesBack{away, back, new(int)},
			Quiet: func(time.Time) bool { return true }, Wakes: []string{record.OverLimitNotice}}}}
	running(t, p)
	if err := errors.Join(p.Send(t.Context(), aMessage(BarsWaiting)),
		p.Send(t.Context(), aMessage(record.OverLimitNotice))); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(tray.until(t, 2), "; "); got != "mail 1 waiting no answer; mail 1 sent 250" {
		t.Error(got)
	}
	if l := <-took; l.Event != record.OverLimitNotice {
		t.Errorf("in quiet hours came %s", l.Event)
	}
}

// comesBack carries by one relay at the first try and by another from then on.
type comesBack struct {
	away, back Mail
	tries      *int
}

func (c comesBack) Carry(ctx context.Context, d Delivery) (string, bool) {
	*c.tries++
	if *c.tries == 1 {
		return c.away.Carry(ctx, d)
	}
	return c.back.Carry(ctx, d)
}

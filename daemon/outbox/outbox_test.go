package outbox

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"io"
	"log"
	"math/big"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
	"lidwright/api/wire"
	"lidwright/daemon/store"
	"lidwright/kiln"
	"lidwright/tiles"
)

const (
	aSite = "0193c0c0-0000-7000-8000-000000000001"
	aKey  = "a key that the collector gave, of some length"
)

// studio is a record with some changes, and a sender that is quick to try again.
func studio(t *testing.T) (*store.Store, *Outbox) {
	t.Helper()
	folder := t.TempDir()
	start := time.Now()
	now := func() kiln.Stamp {
		return kiln.Stamp{Boot: "boot", Since: time.Since(start), Wall: time.Now().UTC(), Trusted: true}
	}
	st, err := store.Settings{Now: now, Version: "test"}.Open(t.Context(), folder)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	if _, err := st.SiteID(t.Context(), aSite); err != nil {
		t.Fatal(err)
	}
	for i := range 5 {
		clay(t, st, i, now())
	}
	o := New(store.Outbox{Store: st}, folder, "test", now,
		func() []wire.LiveKiln { return []wire.LiveKiln{} }, store.CurveSum)
	o.First, o.Most, o.Patience = time.Millisecond, 20*time.Millisecond, time.Second
	return st, o
}

func clay(t *testing.T, st *store.Store, i int, at kiln.Stamp) {
	t.Helper()
	if _, err := st.PutClay(t.Context(), tiles.Clay{ID: tiles.ClayID(fmt.Sprintf("clay-%d", i)),
		Name: "Made-up clay"}, usecase.Precondition{}, at); err != nil {
		t.Fatal(err)
	}
}

// running runs the sender until the test ends.
func running(t *testing.T, o *Outbox) {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); o.Run(ctx) }()
	t.Cleanup(func() { stop(); <-done })
}

// until waits for what must come; its limit is against hanging alone.
func until(t *testing.T, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(3 * time.Minute); !is(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("it never came to this: %s", what)
		}
	}
}

func status(t *testing.T, o *Outbox) usecase.CollectorStatus {
	t.Helper()
	st, err := o.Status(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return st
}

// TestNothingLeavesUnasked holds that a studio that joined sends nothing before its owner says so, that marks
// of makers are blank unless he said so too, and that the key is in a file that nobody else may read.
func TestNothingLeavesUnasked(t *testing.T) {
	st, o := studio(t)
	asked := make(chan string, 100)
	there := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked <- r.Method + " " + r.URL.Path
		w.Header().Set("Content-Type", "application/json")
		if r.URL.Path == "/v1/join" {
			json.NewEncoder(w).Encode(wire.JoinTaken{Token: aKey, Name: "Room 3"})
			return
		}
		if r.Header.Get("Authorization") != "Bearer "+aKey {
			t.Errorf("%s comes with the key %q", r.URL.Path, r.Header.Get("Authorization"))
		}
		if r.Method == http.MethodPut {
			w.WriteHeader(http.StatusNoContent)
			return
		}
		fmt.Fprint(w, `{"have":5}`)
	}))
	defer there.Close()
	running(t, o)
	if err := o.Join(t.Context(), there.URL, "KQ7T-3HVW", ""); err != nil {
		t.Fatal(err)
	}
	if got := <-asked; got != "POST /v1/join" {
		t.Fatalf("asked %s", got)
	}
	info, err := os.Stat(filepath.Join(o.Folder, joinedFile))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the key lies in %v: %v", info.Mode(), err)
	}
	clay(t, st, 10, o.Now()) // news wakes the sender
	if s := status(t, o); !s.Joined || s.Keep || s.Makers || s.Name != "Room 3" {
		t.Errorf("joined, it stands so: %+v", s)
	}
	if err := o.Set(t.Context(), true, false); err != nil {
		t.Fatal(err)
	}
	if got := <-asked; got != "POST /v1/studios/"+aSite+"/push" {
		t.Errorf("the first that left after the yes is %s", got)
	}
	if err := o.Leave(t.Context(), false); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(o.Folder, joinedFile)); err == nil {
		t.Error("it left and the key is still there")
	}
	if s := status(t, o); s.Joined {
		t.Errorf("left, it stands so: %+v", s)
	}
	blank := withoutMakers("reading", json.RawMessage(`{"by":"KT","length_mm":12.5,"mark":3}`))
	if string(blank) != `{"by":"","length_mm":12.5,"mark":3}` {
		t.Errorf("without makers: %s", blank)
	}
	if blank := withoutMakers("pot", json.RawMessage(`{"mark":"KT"}`)); string(blank) != `{"mark":""}` {
		t.Errorf("of a pot without makers: %s", blank)
	}
}

// TestStrangeCollectors has what no collector says answer: it is told in words, and the record goes on.
func TestStrangeCollectors(t *testing.T) {
	js := func(status int, body string) http.HandlerFunc {
		return func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			w.WriteHeader(status)
			io.WriteString(w, body)
		}
	}
	for name, c := range map[string]struct {
		answer http.HandlerFunc
		says   string
	}{
		"nonsense": {js(200, "]["), "not the answer of a collector"},
		"redirect": {func(w http.ResponseWriter, r *http.Request) {
			http.Redirect(w, r, "http://elsewhere.example/", http.StatusMovedPermanently)
		},
			"sends us on to \"http://elsewhere.example/\""},
		"captive portal": {func(w http.ResponseWriter, r *http.Request) {
			io.WriteString(w, "<html>log in")
		}, "a web page"},
		"another cursor": {js(200, `{"have":4711}`), "another machine"},
		"a cursor below": {js(200, `{"have":2}`), "it says that it has changes up to 2"},
		"gaps for ever":  {js(409, `{"why":"gap","have":3,"says":"gap"}`), "again and again"},
		"below nothing":  {js(409, `{"why":"gap","have":-3,"says":"gap"}`), "again and again"},
		"a fork": {js(409, `{"why":"fork","says":"Two machines say that they are this studio"}`),
			"Two machines"},
		"a newer form": {js(426, `{"why":"form","says":"This collector is older than the studio's program"}`),
			"older than"},
		"no such key": {js(401, `{"why":"token","says":"This collector does not know the key"}`),
			"does not know the key"},
		"without a word": {js(503, ``), "status 503"},
		"without end": {func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			for part := []byte(strings.Repeat(" ", 1<<16)); r.Context().Err() == nil; {
				if _, err := w.Write(part); err != nil {
					return
				}
			}
		}, "does not end"},
		"hangs up": {func(w http.ResponseWriter, r *http.Request) {
			panic(http.ErrAbortHandler)
		}, "cannot be reached"},
		"silence": {func(w http.ResponseWriter, r *http.Request) {
			io.Copy(io.Discard, r.Body)
			<-r.Context().Done()
		}, "in time"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			st, o := studio(t)
			there := httptest.NewServer(c.answer)
			defer there.Close()
			j := joined{URL: there.URL, Token: aKey, CollectorPurposes: wire.CollectorPurposes{Keep: true}}
			if err := j.write(o.Folder); err != nil {
				t.Fatal(err)
			}
			running(t, o)
			until(t, "the trouble is told", func() bool {
				return strings.Contains(status(t,
					o).Trouble, c.says)
			})
			clay(t, st, 20, o.Now())
			if last, err := st.LastChange(t.Context()); err != nil || last != 6 {
				t.Errorf("the record is at %d: %v", last, err)
			}
			if _, have, err := (store.Outbox{Store: st}).Sent(t.Context(), there.URL); err != nil ||
				have > 5 {
				t.Errorf("the cursor went to %d: %v", have, err)
			}
		})
	}
}

// TestTLSInWords has a collector whose certificate nobody vouches for, and addresses that would carry the key
// in the clear.
func TestTLSInWords(t *testing.T) {
	_, o := studio(t)
	there := httptest.NewTLSServer(http.NotFoundHandler())
	there.Config.ErrorLog = nil
	defer there.Close()
	for address, says := range map[string]string{
		there.URL:                       "vouches for",
		"http://collector.example":      "in the clear",
		"ftp://collector.example":       "https://",
		"collector.example":             "no address",
		"https://x:y@collector.example": "no address",
	} {
		err := o.Join(t.Context(), address, "KQ7T", "")
		if err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want %q", address, err, says)
		}
	}
}

// TestCertificateInWords has collectors whose certificates are for another name, have run out, or speak no
// TLS at all, though the owner named who vouches for them.
func TestCertificateInWords(t *testing.T) {
	_, o := studio(t)
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	plain := httptest.NewServer(http.NotFoundHandler())
	defer plain.Close()
	for name, c := range map[string]struct {
		dns   string
		until time.Time
		says  string
	}{
		"another name": {"collector.example", time.Now().Add(time.Hour), "for another name"},
		"run out":      {"localhost", time.Now().Add(-time.Hour), "has run out"},
		"no TLS":       {"", time.Now().Add(time.Hour), "no TLS is spoken"},
	} {
		cert := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-48 * time.Hour),
			NotAfter: c.until, DNSNames: []string{c.dns},
			IsCA: true, BasicConstraintsValid: true,
			KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature}
		der, err := x509.CreateCertificate(rand.Reader, cert, cert, &key.PublicKey, key)
		if err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "ca.pem")
		if err := os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}),
			0o600); err != nil {
			t.Fatal(err)
		}
		there := httptest.NewUnstartedServer(http.NotFoundHandler())
		there.Config.ErrorLog = log.New(io.Discard, "", 0)
		there.TLS = &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der},
			PrivateKey: key}}}
		there.StartTLS()
		defer there.Close()
		address := strings.Replace(there.URL, "127.0.0.1", "localhost", 1)
		if c.dns == "" {
			address = strings.Replace(plain.URL, "http://", "https://", 1)
		}
		if err := o.Join(t.Context(), address, "KQ7T", file); err == nil ||
			!strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", name, err, c.says)
		}
	}
}

// TestUntrustedClockWaits holds facts of a clock that is not trusted back, and all behind them, for a day.
func TestUntrustedClockWaits(t *testing.T) {
	now := kiln.Stamp{Boot: "now", Since: time.Hour}
	s := sender{Outbox: &Outbox{Now: func() kiln.Stamp { return now }, TrustWait: 24 * time.Hour}}
	record := []tiles.Change{{Seq: 1, Trusted: true, Boot: "now"}, {Seq: 2, Boot: "old"},
		{Seq: 3, Boot: "now"}, {Seq: 4, Trusted: true, Boot: "now"}}
	if got := s.facts(record); len(got) != 2 || !s.waits {
		t.Errorf("%d facts leave while the clock is not trusted", len(got))
	}
	now.Since = 25 * time.Hour
	if got := s.facts(record); len(got) != 4 {
		t.Errorf("%d facts leave a day later", len(got))
	}
}

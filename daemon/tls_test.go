package daemon

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"lidwright/config"
)

// aPair makes a key and a certificate of its own hand for 127.0.0.1 and writes both down.
func aPair(t *testing.T, folder string) (cert, key string, trust *x509.CertPool) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	form := x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "studio"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, &form, &form, &k.PublicKey, k)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := x509.MarshalECPrivateKey(k)
	if err != nil {
		t.Fatal(err)
	}
	cert, key, trust = filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem"), x509.NewCertPool()
	whole := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	trust.AppendCertsFromPEM(whole)
	if err := errors.Join(os.WriteFile(cert, whole, 0o600),
		os.WriteFile(key, pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: raw}),
			0o600)); err != nil {
		t.Fatal(err)
	}
	return cert, key, trust
}

// With a pair of files the daemon answers over TLS 1.2 and later alone, its cookies go over TLS
// alone, and a pair that does not fit keeps it from starting.
func TestTLS(t *testing.T) {
	folder := t.TempDir()
	cert, key, trust := aPair(t, folder)
	b := newHeatBench(t)
	b.d.cfg.Listen.TLSCert, b.d.cfg.Listen.TLSKey = cert, key
	b.run()
	site := strings.Replace(b.site, "http:", "https:", 1)
	ask := func(c *tls.Config) (int, string, error) {
		tr := &http.Transport{TLSClientConfig: c}
		defer tr.CloseIdleConnections()
		r, err := (&http.Client{Transport: tr, Timeout: 10 * time.Second}).Get(site + "/v1/now")
		if err != nil {
			return 0, "", err
		}
		defer r.Body.Close()
		text, err := io.ReadAll(r.Body)
		return r.StatusCode, string(text), err
	}
	if code, text, err := ask(&tls.Config{RootCAs: trust}); err != nil || code != 200 ||
		!strings.Contains(text, "big-blue") {
		t.Errorf("over TLS: %d %v %s", code, err, text)
	}
	if _, _, err := ask(&tls.Config{RootCAs: trust, MaxVersion: tls.VersionTLS11,
		MinVersion: tls.VersionTLS10}); err == nil {
		t.Error("TLS 1.1 is taken")
	}
	if _, _, err := ask(nil); err == nil {
		t.Error("a certificate that nobody trusts is taken: the test proves nothing")
	}
	if r, err := http.Get(b.site + "/v1/now"); err == nil {
		r.Body.Close()
		if r.StatusCode == 200 {
			t.Error("answered in the clear")
		}
	}
	_, other, _ := aPair(t, t.TempDir())
	for _, pair := range [][2]string{{cert, other}, {cert, filepath.Join(folder, "missing")}, {key, cert}} {
		cfg := config.Default()
		cfg.Listen.TLSCert, cfg.Listen.TLSKey = pair[0], pair[1]
		if _, err := secured(nil, cfg); !errors.Is(err, ErrCannotStart) ||
			!strings.Contains(err.Error(), "listen.tls_cert") {
			t.Errorf("%v: %v", pair, err)
		}
	}
}

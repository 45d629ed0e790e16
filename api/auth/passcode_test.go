package auth

import (
	"bytes"
	"crypto/pbkdf2"
	"crypto/sha256"
	"fmt"
	"net/netip"
	"regexp"
	"strings"
	"testing"
	"time"
)

// A hash is read back as it was written, and what is no hash opens nothing.
func TestPasscodeHash(t *testing.T) {
	seen := map[string]bool{}
	for _, w := range []Who{Bench, Owner} {
		code := NewPasscode(w)
		if len(normalise(code)) != w.length() || seen[code] {
			t.Errorf("%v code %s", w, code)
		}
		seen[code] = true
	}
	code := NewPasscode(Bench)
	h := HashPasscode(code)
	back, err := ParsePasscodeHash(h.String() + "\n")
	if err != nil || !back.is(strings.ToLower(code)) || back.is(NewPasscode(Bench)) ||
		strings.Contains(h.String(), normalise(code)) {
		t.Errorf("%v %s", err, h)
	}
	for _, bad := range []string{"", code, "pbkdf2-sha256 1 AAAA AAAA",
		"pbkdf2-sha256 100000 AAAAAAAAAAAAAAAAAAAAAA " + strings.Repeat("A", 42), "md5 100000 a b"} {
		if _, err := ParsePasscodeHash(bad); err == nil {
			t.Errorf("%q was taken for a hash", bad)
		}
	}
	if (PasscodeHash{}).is("") {
		t.Error("no hash opens for no code")
	}
	// PBKDF2-HMAC-SHA-256 (RFC 8018, 5.2), with the rounds and salt of the example in RFC 7914, 11, of the
	// signs in capitals.
	v := PasscodeHash{rounds: 80000, salt: []byte("NaCl")}
	pass := v.of("PASSWORD")
	if w := v.of("pass word"); string(w) != string(pass) {
		t.Error("case and blanks count")
	}
	if want, err := pbkdf2.Key(sha256.New, "PASSWORD", []byte("NaCl"), 80000, 32); err != nil ||
		!bytes.Equal(pass, want) {
		t.Errorf("%x, want %x, %v", pass, want, err)
	}
}

// A passcode is made and read out in fours; its hash has a salt of its own, 16 bytes long: RFC 8018, 4.1,
// wants 8 at least.
func TestPasscodesAsTheyAreRead(t *testing.T) {
	for who, shape := range map[Who]string{Bench: `^%[1]s{4}-%[1]s{4}$`,
		Owner: `^%[1]s{4}-%[1]s{4}-%[1]s{4}$`} {
		of := regexp.MustCompile(fmt.Sprintf(shape, "["+codeAlphabet+"]"))
		for range 20 {
			if code := NewPasscode(who); !of.MatchString(code) {
				t.Errorf("%v is given %s", who, code)
			}
		}
	}
	a, b := HashPasscode("KQ7T-3HVW"), HashPasscode("KQ7T-3HVW")
	if len(a.salt) != 16 || bytes.Equal(a.salt, b.salt) || bytes.Equal(a.sum, b.sum) || a.Mark() == b.Mark() {
		t.Errorf("%v %v", a, b)
	}
}

// Of the line of a code file each part is looked at: name, rounds, salt, sum.
func TestLinesOfCodeFiles(t *testing.T) {
	const salt, sum = "AAAAAAAAAAA", "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA" // 8 and 32 bytes
	for line, good := range map[string]bool{
		"pbkdf2-sha256 1000 " + salt + " " + sum:        true,
		"pbkdf2-sha256 10000000 " + salt + " " + sum:    true,
		"pbkdf2-sha512 1000 " + salt + " " + sum:        false,
		"pbkdf2-sha256 999 " + salt + " " + sum:         false,
		"pbkdf2-sha256 10000001 " + salt + " " + sum:    false,
		"pbkdf2-sha256 1000 AAAAAAAAAA " + sum:          false, // 7 bytes
		"pbkdf2-sha256 1000 " + salt + "!AAA " + sum:    false,
		"pbkdf2-sha256 1000 " + salt + " " + sum[1:]:    false,
		"pbkdf2-sha256 1000 " + salt + " " + sum + " x": false,
	} {
		if _, err := ParsePasscodeHash(line); (err == nil) != good {
			t.Errorf("%s: %v", line, err)
		}
	}
}

// However many addresses there are, memory for them is bounded.
func TestRateLimitBounded(t *testing.T) {
	r := rateLimit{each: time.Second, burst: 2}
	for i := range 5000 {
		a := netip.AddrFrom4([4]byte{10, byte(i >> 16), byte(i >> 8), byte(i)})
		r.take(a, 0)
		r.take(a, 0)
	}
	if len(r.left) > mostAddresses+1 {
		t.Errorf("%d addresses remembered", len(r.left))
	}
	if _, wait := r.take(netip.MustParseAddr("192.0.2.1"), time.Hour); wait > 0 || len(r.left) > 2 {
		t.Errorf("after an hour: to wait %v, %d remembered", wait, len(r.left))
	}
	if _, wait := r.take(netip.MustParseAddr("2001:db8::1"), time.Hour); wait > 0 {
		t.Error("an IPv6 address")
	}
	r.take(netip.MustParseAddr("2001:db8::2"), time.Hour)
	if _, wait := r.take(netip.MustParseAddr("2001:db8::3"), time.Hour); wait == 0 {
		t.Error("a third address of one network")
	}
	taken, _ := r.take(netip.MustParseAddr("192.0.2.2"), time.Hour)
	r.take(netip.MustParseAddr("192.0.2.2"), time.Hour)
	giveBack(taken, time.Hour)
	if _, wait := r.take(netip.MustParseAddr("192.0.2.2"), time.Hour); wait > 0 {
		t.Error("what was given back is gone")
	}
}

// Sessions are kept under a hash's mark over upgrades, so it stays what it is: sixteen digits of SHA-256 of a
// name and the sum (worked out with sha256sum).
func TestMarkStays(t *testing.T) {
	if got, want := (PasscodeHash{sum: []byte("0123456789abcdef0123456789abcdef")}).Mark(),
		"c6102d419e0afb8d"; got != want {
		t.Errorf("the mark is %s, want %s", got, want)
	}
}

// Of IPv6 the first 64 bits are one machine's to choose behind; of IPv4 each address is one.
func TestNetworks(t *testing.T) {
	for _, c := range []struct {
		a, b string
		same bool
	}{
		{"2001:db8::1", "2001:db8:0:0:8000::2", true}, {"2001:db8::1", "2001:db8:0:1::1", false},
		{"2001:db8::1", "2001:db9::1", false}, {"192.0.2.2", "192.0.2.3", false},
		{"192.0.2.2", "192.0.2.2", true},
	} {
		if got := network(netip.MustParseAddr(c.a)) == network(netip.MustParseAddr(c.b)); got != c.same {
			t.Errorf("%s and %s are of one network: %v", c.a, c.b, got)
		}
	}
	if network(netip.Addr{}).IsValid() {
		t.Error("no address has a network")
	}
}

// Where as many addresses as are remembered used their share, all newcomers have one share between them; as
// soon as these have theirs again they make room.
func TestShareOfNewcomers(t *testing.T) {
	r := rateLimit{each: time.Second, burst: 2}
	for i := range mostAddresses {
		r.take(nth(i), 0)
	}
	for i, free := range []bool{true, true, false, false} {
		if _, wait := r.take(nth(5000+i), 0); (wait == 0) != free {
			t.Errorf("newcomer %d has to wait for %v", i, wait)
		}
	}
	if _, wait := r.take(nth(0), 0); wait > 0 {
		t.Errorf("one that is known has to wait for %v", wait)
	}
	r = rateLimit{each: time.Second, burst: 2}
	for i := range mostAddresses {
		r.take(nth(i), 0)
	}
	for i := range 4 {
		if _, wait := r.take(nth(5000+i), time.Minute); wait > 0 {
			t.Errorf("a minute later newcomer %d has to wait for %v", i, wait)
		}
	}
}

package auth

import (
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"math/big"
	"strconv"
	"strings"
)

// Who is what a code lets somebody do; each may do what those before it may.
type Who int

const (
	Anyone Who = iota
	Bench      // may write readings
	Owner      // may change clays, batches, kilns, and import
)

func (w Who) String() string { return [...]string{"anyone", "bench", "owner"}[w] }

// WhoNamed finds bench or owner by its name.
func WhoNamed(name string) (Who, bool) {
	for _, w := range []Who{Bench, Owner} {
		if w.String() == name {
			return w, true
		}
	}
	return Anyone, false
}

// signs is the length of a code: 36 bits of chance for the bench, 54 for the owner.
func (w Who) length() int { return map[Who]int{Bench: 8, Owner: 12}[w] }

// codeAlphabet is that of the bars: no two signs look alike.
const codeAlphabet = "ABCDEFGHJKLNPQRTVWXY347"

// hashRounds of PBKDF2 take 20 ms on the development machine and should take under a second on
// the smallest Pi. A right code is worked out once in a running of the daemon; wrong ones are
// rationed. A stolen hash of a bench passcode stands 2^36 guesses of this many rounds.
const hashRounds = 100_000

// PasscodeHash is what is kept of a code: it cannot be turned back.
type PasscodeHash struct {
	rounds    int
	salt, sum []byte
}

// NewPasscode makes a code by chance, in fours as people read it out: KQ7T-3HVW.
func NewPasscode(w Who) string {
	var b strings.Builder
	for i := range w.length() {
		if i > 0 && i%4 == 0 {
			b.WriteByte('-')
		}
		n, err := rand.Int(rand.Reader, big.NewInt(int64(len(codeAlphabet))))
		if err != nil {
			panic(err) // the system has no randomness; crypto/rand ends the program by itself
		}
		b.WriteByte(codeAlphabet[n.Int64()])
	}
	return b.String()
}

// normalise is a code as typed, less what does not count: hyphens, spaces, case.
func normalise(typed string) string {
	return strings.ToUpper(strings.NewReplacer("-", "", " ", "", "\t", "", "\r", "", "\n", "").Replace(typed))
}

// HashPasscode makes what is kept of a code.
func HashPasscode(code string) PasscodeHash {
	h := PasscodeHash{rounds: hashRounds, salt: make([]byte, 16)}
	rand.Read(h.salt)
	h.sum = h.of(code)
	return h
}

func (h PasscodeHash) of(code string) []byte {
	sum, err := pbkdf2.Key(sha256.New, normalise(code), h.salt, h.rounds, sha256.Size)
	if err != nil {
		return nil // a length that no hash has: never
	}
	return sum
}

func (h PasscodeHash) is(code string) bool {
	return len(h.sum) == sha256.Size && subtle.ConstantTimeCompare(h.of(code), h.sum) == 1
}

// Fits reports whether a code as typed is the one that this was made of, and gives the mark under which
// sessions of it are kept.
func (h PasscodeHash) Fits(code string) (fits bool, mark string) { return h.is(code), h.mark() }

// Mark names a hash, so that sessions end with the code that they were opened by.
func (h PasscodeHash) Mark() string { return h.mark() }

// mark names a hash, so that sessions end with the code that they were opened by.
func (h PasscodeHash) mark() string {
	m := sha256.Sum256(append([]byte("lidwright session "), h.sum...))
	return hex.EncodeToString(m[:8])
}

const hashName = "pbkdf2-sha256"

// String is the line of a code file.
func (h PasscodeHash) String() string {
	e := base64.RawStdEncoding
	return fmt.Sprintf("%s %d %s %s", hashName, h.rounds, e.EncodeToString(h.salt), e.EncodeToString(h.sum))
}

var errNoHash = errors.New("this is no hash of a code; make one with: lidwright code new bench (or owner)")

// ParsePasscodeHash reads the line of a code file.
func ParsePasscodeHash(line string) (PasscodeHash, error) {
	f := strings.Fields(line)
	if len(f) != 4 || f[0] != hashName {
		return PasscodeHash{}, errNoHash
	}
	rounds, err1 := strconv.Atoi(f[1])
	salt, err2 := base64.RawStdEncoding.DecodeString(f[2])
	sum, err3 := base64.RawStdEncoding.DecodeString(f[3])
	if errors.Join(err1, err2, err3) != nil || rounds < 1000 || rounds > 10_000_000 || len(salt) < 8 ||
		len(sum) != sha256.Size {
		return PasscodeHash{}, errNoHash
	}
	return PasscodeHash{rounds, salt, sum}, nil
}

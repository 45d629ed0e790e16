package tiles

import (
	"math/rand/v2"
	"strconv"
	"strings"

	"lidwright/kiln/message"
)

// Alphabet holds the signs of bar codes. Signs that turn over or run together in clay do
// not belong in one.
type Alphabet string

// Signs is the usual alphabet: no O 0, I 1, S 5, Z 2, B's twin 8, nor 6, 9, M, U. It gives
// 529 codes of two signs and 12,167 of three.
const Signs Alphabet = "ABCDEFGHJKLNPQRTVWXY347"

// Parse reads a code in any case: two or three signs of the alphabet. The error is an
// *Invalid of field.
func (a Alphabet) Parse(field, text string) (Code, error) {
	code := strings.ToUpper(strings.TrimSpace(text))
	if code == "" {
		return "", &Invalid{Field: field, Why: message.New("no code given"), Type: Missing}
	}
	if len(code) < 2 || len(code) > 3 {
		return "", &Invalid{Field: field, Why: message.New("a code has two or three signs, such as BQ7"),
			Type: UnknownValue}
	}
	for _, sign := range code {
		if !strings.ContainsRune(string(a), sign) {
			return "", &Invalid{Field: field, Type: UnknownValue,
				Why: message.New("{1} is not a sign of a code: {2}, as in BQ7",
					strconv.QuoteRune(sign), string(a))}
		}
	}
	return Code(code), nil
}

// Free hands out n codes at random that used does not know, none of them twice: those of
// two signs first, then those of three. A code that was ever used stays used. The error
// says that the alphabet has no more.
func (a Alphabet) Free(n int, used func(Code) bool, rng *rand.Rand) ([]Code, error) {
	free := make([]Code, 0, max(n, 0))
	for _, signs := range [...]int{2, 3} {
		if len(free) >= n {
			break
		}
		var left []Code
		for _, code := range a.all(signs) {
			if !used(code) {
				left = append(left, code)
			}
		}
		rng.Shuffle(len(left), func(i, j int) { left[i], left[j] = left[j], left[i] })
		free = append(free, left[:min(n-len(free), len(left))]...)
	}
	if len(free) < n {
		return nil, message.New("asked for {1} bar codes, only {2} are left", n, len(free))
	}
	return free, nil
}

// all gives every code of so many signs, in order of the alphabet.
func (a Alphabet) all(signs int) []Code {
	codes := []Code{""}
	for range signs {
		longer := make([]Code, 0, len(codes)*len(a))
		for _, code := range codes {
			for _, sign := range string(a) {
				longer = append(longer, code+Code(sign))
			}
		}
		codes = longer
	}
	return codes
}

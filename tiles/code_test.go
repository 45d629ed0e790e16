package tiles

import (
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
)

func TestSigns(t *testing.T) {
	if len(Signs) != 23 || strings.ContainsAny(string(Signs), "O0I1Z2S5698MU") {
		t.Errorf("%q: want 23 signs, none of O 0 I 1 Z 2 S 5 6 9 8 M U", string(Signs))
	}
	for i, sign := range string(Signs) {
		if strings.ContainsRune(string(Signs)[:i], sign) {
			t.Errorf("%q stands twice", sign)
		}
	}
}

func TestParseCode(t *testing.T) {
	for _, text := range []string{"BQ7", "bq7", " bQ7 "} {
		if code, err := Signs.Parse("bar", text); err != nil || code != "BQ7" {
			t.Errorf("Parse(%q) = %q, %v", text, code, err)
		}
	}
	for text, kind := range map[string]string{"": Missing, "B": UnknownValue, "BQ77": UnknownValue,
		"BO": UnknownValue, "B8": UnknownValue, "ÄQ": UnknownValue} {
		_, err := Signs.Parse("bar", text)
		var bad *Invalid
		if !errors.As(err, &bad) || bad.Type != kind || bad.Field != "bar" {
			t.Errorf("Parse(%q) gave %v, want %s", text, err, kind)
		}
	}
}

// Every code of the alphabet is handed out, in runs of seven, and none twice: first the
// 23 x 23 of two signs, then the 23 x 23 x 23 of three.
func TestFreeCodesUntilNoneIsLeft(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	small := Alphabet("ABCD347")
	used := map[Code]bool{}
	known := func(c Code) bool { return used[c] }
	for len(used) < 7*7+7*7*7 {
		run, err := small.Free(7, known, rng)
		if err != nil {
			t.Fatal(err)
		}
		for _, code := range run {
			if used[code] {
				t.Fatalf("%s handed out twice", code)
			}
			if len(code) == 3 && len(used) < 7*7 {
				t.Fatalf("%s handed out while codes of two signs were left", code)
			}
			if _, err := small.Parse("bar", string(code)); err != nil {
				t.Fatal(err)
			}
			used[code] = true
		}
	}
	if run, err := small.Free(1, known, rng); err == nil {
		t.Errorf("handed out %v from an empty alphabet", run)
	}
	a, _ := Signs.Free(20, func(Code) bool { return false }, rand.New(rand.NewPCG(1, 1)))
	b, _ := Signs.Free(20, func(Code) bool { return false }, rand.New(rand.NewPCG(1, 2)))
	if len(a) != 20 || strings.Join(str(a), " ") == strings.Join(str(b), " ") {
		t.Errorf("two draws gave the same run %v", a)
	}
}

func str(codes []Code) []string {
	var all []string
	for _, c := range codes {
		all = append(all, string(c))
	}
	return all
}

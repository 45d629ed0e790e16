// Package thermocouple turns the voltage of a thermocouple into a temperature and back, for the
// letter types K, N, J, T, E, R, S and B, as NIST Standard Reference Database 60 (functions of NIST
// Monograph 175, 1993) has it on the ITS-90 scale. IEC 60584-1 is the corresponding international
// standard. Every function is pure and allocates nothing.
//
// It does not read a meter, and it does not judge whether a temperature can be believed:
// kiln/faults does that.
package thermocouple

import (
	"fmt"
	"strings"

	"lidwright/kiln"
)

// Type is a thermocouple by its letter.
type Type byte

const (
	B Type = 'B' // platinum-30 % rhodium against platinum-6 % rhodium
	E Type = 'E' // nickel-chromium against copper-nickel
	J Type = 'J' // iron against copper-nickel
	K Type = 'K' // nickel-chromium against nickel-aluminium
	N Type = 'N' // nickel-chromium-silicon against nickel-silicon
	R Type = 'R' // platinum-13 % rhodium against platinum
	S Type = 'S' // platinum-10 % rhodium against platinum
	T Type = 'T' // copper against copper-nickel
)

// Types lists the letters, in the order in which kilns use them most (common practice, no source).
func Types() [8]Type { return [...]Type{K, S, R, N, B, J, E, T} }

// ParseType takes a letter in either case. Anything else is refused with the letters there are.
func ParseType(letter string) (Type, error) {
	if len(letter) == 1 {
		if k := Type(strings.ToUpper(letter)[0]); k.table() != nil {
			return k, nil
		}
	}
	return 0, fmt.Errorf("%q is no thermocouple type; the types are K, S, R, N, B, J, E and T", letter)
}

// String is the letter; of what is no type its number.
func (k Type) String() string {
	if k.table() == nil {
		return fmt.Sprintf("Type(%d)", byte(k))
	}
	return string(rune(k))
}

// Range is the lowest and the highest temperature for which the function of the type is defined,
// in °C; both are NaN for what is no type. Celsius begins higher for K, N, T and E (-200 °C) and
// for B (250 °C).
func (k Type) Range() (low, high kiln.Celsius) {
	table := k.table()
	if table == nil {
		return kiln.NoTemperature(), kiln.NoTemperature()
	}
	return kiln.Celsius(table.forward[0].low), kiln.Celsius(table.forward[len(table.forward)-1].high)
}

// table is the functions of the type, nil for what is none.
func (k Type) table() *table {
	switch k {
	case B:
		return &tableB
	case E:
		return &tableE
	case J:
		return &tableJ
	case K:
		return &tableK
	case N:
		return &tableN
	case R:
		return &tableR
	case S:
		return &tableS
	case T:
		return &tableT
	}
	return nil
}

// UnmarshalText is ParseType, for settings.
func (k *Type) UnmarshalText(text []byte) error {
	parsed, err := ParseType(string(text))
	if err == nil {
		*k = parsed
	}
	return err
}

package heatwork

import "strings"

// either is a or, where first is false, b.
func either(first bool, a, b string) string {
	if first {
		return a
	}
	return b
}

// sentence begins with a capital letter.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

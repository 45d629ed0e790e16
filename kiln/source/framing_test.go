package source

import (
	"bytes"
	"testing"
)

// A line of 256 bytes is heard whole, one of a byte more is dropped whole and told, and the line after
// it is heard.
func TestLongestLine(t *testing.T) {
	for _, end := range []string{"\n", "\r\n", "\r"} {
		c := newLineSplitter(end)
		c.fresh()
		var got [][]byte
		whole, long := bytes.Repeat([]byte("7"), 256), bytes.Repeat([]byte("8"), 257)
		for _, line := range [][]byte{whole, long, []byte("1222.6")} {
			c.cut(append(bytes.Clone(line), end...), func(l []byte) { got = append(got, bytes.Clone(l)) })
		}
		if len(got) != 3 || !bytes.Equal(got[0], whole) || got[1] != nil || string(got[2]) != "1222.6" {
			t.Errorf("end %q: %d lines: %q", end, len(got), got)
		}
	}
}

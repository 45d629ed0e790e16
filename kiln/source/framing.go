package source

import "bytes"

// maxLine is the longest line that is believed, in bytes without its end.
const maxLine = 256

// lineSplitter cuts bytes into lines. A line ends with CR, LF or both, or with a terminator of the
// settings. A line that is too long or holds a NUL, which is how framing and parity errors arrive,
// is dropped whole; the next line end is where sense begins again. It never holds more than one line.
type lineSplitter struct {
	end      string // a terminator other than CR and LF, "" otherwise
	buf      [maxLine]byte
	n        int
	dropping bool // until the next line end
	blind    bool // dropping because the beginning was not heard: no fault of the line's
	middle   bool // bytes came while blind: this is the middle of a line indeed
}

// newLineSplitter makes a lineSplitter for a line that may be in the middle of a line now: what comes before
// the first line end is not believed, unless fresh is called first.
func newLineSplitter(terminator string) *lineSplitter {
	c := &lineSplitter{dropping: true, blind: true}
	if terminator != "\n" && terminator != "\r" && terminator != "\r\n" {
		c.end = terminator
	}
	return c
}

// fresh says that the line was silent for a while with nothing begun, so that the next byte begins a line.
func (c *lineSplitter) fresh() {
	if c.blind && !c.middle {
		c.dropping, c.blind = false, false
	}
}

// stale drops what was begun and not ended; it reports whether there was anything.
func (c *lineSplitter) stale() bool {
	had := c.n > 0 || c.dropping && !c.blind
	c.n, c.dropping, c.blind, c.middle = 0, false, false, false
	return had
}

// cut takes bytes as they come and calls each for every line that ends in them: with the line,
// good for as long as the call, or with nil for one that had to be dropped.
func (c *lineSplitter) cut(bytes []byte, each func(line []byte)) {
	for _, b := range bytes {
		c.middle = c.blind
		switch {
		case c.end == "" && (b == '\r' || b == '\n'):
			c.endLine(each)
		case c.dropping && c.end == "":
		case b == 0 || c.n == maxLine:
			c.dropping, c.n = true, 0
		default:
			c.buf[c.n] = b
			c.n++
			if k := c.n - len(c.end); c.end != "" && k >= 0 && string(c.buf[k:c.n]) == c.end {
				c.n = k
				c.endLine(each)
			}
		}
	}
}

// endLine gives the line that has ended, nil where it was dropped, nothing where it is empty or its
// beginning was not heard.
func (c *lineSplitter) endLine(each func(line []byte)) {
	switch {
	case c.dropping && !c.blind:
		each(nil)
	case !c.dropping && c.n > 0:
		line := c.buf[:c.n]
		if c.end != "" {
			line = bytes.Trim(line, "\r\n")
		}
		if len(line) > 0 {
			each(line)
		}
	}
	c.n, c.dropping, c.blind, c.middle = 0, false, false, false
}

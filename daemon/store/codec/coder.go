package codec

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"sync"
	"time"

	"lidwright/kiln"
)

// Everything that is kept coded (blocks, envelopes, summaries) has one wrapping: a byte of
// version, one that says whether the body is deflated, the body, and a CRC-32C of all before it.
const (
	codeVersion  = 1
	BodyPlain    = 0
	BodyDeflated = 1
	mostBody     = 64 << 20 // inflated; bounds what a damaged one can ask for
)

// ErrCoded means that what was kept does not read back.
var ErrCoded = errors.New("what was kept is damaged")

// Wrap puts the version, how the body is written, and a CRC-32C around a body.
func Wrap(body []byte, how byte) []byte {
	out := make([]byte, 0, len(body)+6)
	out = append(append(out, codeVersion, how), body...)
	return binary.LittleEndian.AppendUint32(out, crc32.Checksum(out, crc32.MakeTable(crc32.Castagnoli)))
}

func unwrap(data []byte) ([]byte, error) {
	if len(data) < 6 {
		return nil, fmt.Errorf("%w: too short", ErrCoded)
	}
	head, sum := data[:len(data)-4], binary.LittleEndian.Uint32(data[len(data)-4:])
	if crc32.Checksum(head, crc32.MakeTable(crc32.Castagnoli)) != sum {
		return nil, fmt.Errorf("%w: its checksum is wrong", ErrCoded)
	}
	if head[0] != codeVersion {
		return nil, fmt.Errorf("%w: form %d is not known", ErrCoded, head[0])
	}
	if head[1] == BodyPlain {
		return head[2:], nil
	}
	return Inflated(head[2:])
}

// What inflates and deflates takes half a megabyte to set up, so it is used again.
var (
	inflaters = sync.Pool{New: func() any { return flate.NewReader(nil) }}
	deflaters = map[int]*sync.Pool{flate.HuffmanOnly: deflater(flate.HuffmanOnly),
		Searching: deflater(Searching)}
)

// Searching is the level of compress/flate that looks for repeats.
const Searching = 6

func deflater(level int) *sync.Pool {
	return &sync.Pool{New: func() any {
		w, _ := flate.NewWriter(nil, level) // there are both levels
		return w
	}}
}

// Inflated is the body of a deflated one; ErrCoded where it is none, or larger than any that is written.
func Inflated(b []byte) ([]byte, error) {
	r := inflaters.Get().(io.ReadCloser)
	defer inflaters.Put(r)
	if err := r.(flate.Resetter).Reset(bytes.NewReader(b), nil); err != nil {
		return nil, fmt.Errorf("%w: %v", ErrCoded, err)
	}
	body := bytes.NewBuffer(make([]byte, 0, 4*len(b)+bytes.MinRead))
	if _, err := body.ReadFrom(io.LimitReader(r, mostBody)); err != nil {
		return nil, fmt.Errorf("%w: %v", ErrCoded, err)
	}
	return body.Bytes(), nil
}

// Deflated is b in fewer bytes: by flate.HuffmanOnly, or searching.
func Deflated(b []byte, level int) []byte {
	z := bytes.NewBuffer(make([]byte, 0, len(b)/2+64))
	w := deflaters[level].Get().(*flate.Writer)
	defer deflaters[level].Put(w)
	w.Reset(z)
	w.Write(b) // a bytes.Buffer takes everything
	w.Close()
	return z.Bytes()
}

// coder writes numbers and texts one after another.
type coder struct{ b []byte }

func (e *coder) uint(v uint64)        { e.b = binary.AppendUvarint(e.b, v) }
func (e *coder) int(v int64)          { e.b = binary.AppendVarint(e.b, v) }
func (e *coder) float(v float64)      { e.b = binary.LittleEndian.AppendUint64(e.b, math.Float64bits(v)) }
func (e *coder) text(v string)        { e.uint(uint64(len(v))); e.b = append(e.b, v...) }
func (e *coder) span(d time.Duration) { e.int(int64(d)) }
func (e *coder) flag(v bool) {
	if v {
		e.b = append(e.b, 1)
	} else {
		e.b = append(e.b, 0)
	}
}

func (e *coder) stamp(at kiln.Stamp) {
	e.text(string(at.Boot))
	e.span(at.Since)
	e.flag(!at.Wall.IsZero())
	if !at.Wall.IsZero() {
		e.int(at.Wall.UnixMilli())
	}
	e.flag(at.Trusted)
}

// decoder reads what a coder wrote. Once something did not fit it is bad, and all that it gives
// from then on is zero.
type decoder struct {
	b     []byte
	bad   bool
	whole string // ends with b, if texts are to be cut out of one string
}

func (d *decoder) fail() { d.bad, d.b = true, nil }

func (d *decoder) uint() uint64 {
	if len(d.b) > 0 && d.b[0] < 0x80 {
		v := d.b[0]
		d.b = d.b[1:]
		return uint64(v)
	}
	v, n := binary.Uvarint(d.b)
	if n <= 0 {
		d.fail()
		return 0
	}
	d.b = d.b[n:]
	return v
}

func (d *decoder) int() int64 {
	u := d.uint()
	return int64(u>>1) ^ -int64(u&1)
}

func (d *decoder) float() float64 {
	if len(d.b) < 8 {
		d.fail()
		return 0
	}
	v := math.Float64frombits(binary.LittleEndian.Uint64(d.b))
	d.b = d.b[8:]
	return v
}

func (d *decoder) text() string {
	v := d.bytes()
	if d.whole == "" {
		return string(v)
	}
	end := len(d.whole) - len(d.b)
	return d.whole[end-len(v) : end]
}

// bytes reads a length and so many bytes, which stay where they are.
func (d *decoder) bytes() []byte {
	n := d.uint()
	if n > uint64(len(d.b)) {
		d.fail()
		return nil
	}
	v := d.b[:n]
	d.b = d.b[n:]
	return v
}

func (d *decoder) span() time.Duration { return time.Duration(d.int()) }
func (d *decoder) flag() bool          { return d.uint() == 1 }

// count reads a number of things of which there can be at most so many.
func (d *decoder) count(most int) int {
	n := d.uint()
	if n > uint64(most) {
		d.fail()
		return 0
	}
	return int(n)
}

func (d *decoder) stamp() kiln.Stamp {
	at := kiln.Stamp{Boot: kiln.BootID(d.text()), Since: d.span()}
	if d.flag() {
		at.Wall = time.UnixMilli(d.int()).UTC()
	}
	at.Trusted = d.flag()
	return at
}

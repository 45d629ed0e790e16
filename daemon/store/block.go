package store

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"slices"
	"time"

	"lidwright/kiln"
)

// A run of samples as it is kept: one byte of version, one that says whether the body is
// deflated, the body, and a CRC-32C of all before it. The body holds, in order, as varints:
// the number of samples; the channels' names and steps; the stamps in stretches of one boot,
// wall offset and trust (a change of any begins another), with the times since that start as
// differences in ns; for each channel its faults in stretches, then its temperatures as
// zigzag differences of whole steps; last the lines kept of readings that were not good.
const (
	runVersion  = 1
	runPlain    = 0
	runDeflated = 1
	mostSamples = 1 << 20 // in one run; bounds what a damaged one can ask for
)

// steps are the resolutions that a channel may be kept in, coarsest first; the coarsest that
// gives every value back is taken. The last one always fits: nothing that reads a kiln is
// finer.
var steps = []float64{1, 0.5, 0.25, 0.1, 0.0625, 0.05, 0.01, 1.0 / 128, 0.001}

var (
	errRun   = errors.New("a run of samples is damaged")
	castagni = crc32.MakeTable(crc32.Castagnoli)
)

// encodeRun writes samples, all of one kiln. deflate makes it small, for good.
func encodeRun(samples []kiln.Sample, deflate bool) []byte {
	e := &runWriter{}
	e.uint(uint64(len(samples)))
	e.stamps(samples)
	channels := channelsOf(samples)
	e.uint(uint64(len(channels)))
	for _, c := range channels {
		e.text(string(c))
		e.channel(samples, c)
	}
	e.raw(samples)
	body, how := e.b, byte(runPlain)
	if deflate {
		for _, level := range []int{flate.HuffmanOnly, 6} {
			var z bytes.Buffer
			w, err := flate.NewWriter(&z, level)
			if err == nil {
				w.Write(e.b)
				w.Close()
				if z.Len() < len(body) {
					body, how = z.Bytes(), runDeflated
				}
			}
		}
	}
	out := append([]byte{runVersion, how}, body...)
	return binary.LittleEndian.AppendUint32(out, crc32.Checksum(out, castagni))
}

func channelsOf(samples []kiln.Sample) []kiln.ChannelID {
	var all []kiln.ChannelID
	for _, s := range samples {
		for _, v := range s.Values {
			if !slices.Contains(all, v.Channel) {
				all = append(all, v.Channel)
			}
		}
	}
	return all
}

type runWriter struct{ b []byte }

func (e *runWriter) uint(v uint64) { e.b = binary.AppendUvarint(e.b, v) }
func (e *runWriter) int(v int64)   { e.b = binary.AppendVarint(e.b, v) }
func (e *runWriter) text(v string) { e.uint(uint64(len(v))); e.b = append(e.b, v...) }
func (e *runWriter) flag(v bool)   { e.uint(map[bool]uint64{false: 0, true: 1}[v]) }
func offset(s kiln.Stamp) int64    { return s.Wall.UnixMilli() - s.Since.Milliseconds() }
func sameClock(a, b kiln.Stamp) bool {
	d := offset(a) - offset(b)
	return a.Boot == b.Boot && a.Trusted == b.Trusted && -100 < d && d < 100 // a clock that is slewed stays in one stretch
}

func (e *runWriter) stamps(samples []kiln.Sample) {
	for i := 0; i < len(samples); {
		n := i + 1
		for n < len(samples) && sameClock(samples[i].At, samples[n].At) {
			n++
		}
		at := samples[i].At
		e.uint(uint64(n - i))
		e.text(string(at.Boot))
		e.int(offset(at))
		e.flag(at.Trusted)
		last := int64(0)
		for ; i < n; i++ {
			since := samples[i].At.Since.Nanoseconds()
			e.int(since - last)
			last = since
		}
	}
}

// channel writes one channel's faults and temperatures. What a sample does not say has the
// fault "absent"; what has no number has a mark of its own.
const absent = "absent"

func (e *runWriter) channel(samples []kiln.Sample, c kiln.ChannelID) {
	values := make([]kiln.Value, len(samples))
	faults := make([]string, len(samples))
	for i, s := range samples {
		v, ok := s.Value(c)
		values[i], faults[i] = v, string(v.Fault)
		if !ok {
			faults[i] = absent
		}
		if ok && !v.T.Known() {
			faults[i] += "?"
		}
	}
	for i := 0; i < len(faults); {
		n := i + 1
		for n < len(faults) && faults[n] == faults[i] {
			n++
		}
		e.uint(uint64(n - i))
		e.text(faults[i])
		i = n
	}
	step := stepOf(values)
	e.uint(uint64(step))
	last := int64(0)
	for _, v := range values {
		if v.T.Known() {
			n := int64(math.Round(float64(v.T) / steps[step]))
			e.int(n - last)
			last = n
		}
	}
}

func stepOf(values []kiln.Value) int {
	for i, step := range steps[:len(steps)-1] {
		fits := true
		for _, v := range values {
			if t := float64(v.T); v.T.Known() && math.Abs(math.Round(t/step)*step-t) > 1e-6 {
				fits = false
				break
			}
		}
		if fits {
			return i
		}
	}
	return len(steps) - 1
}

func (e *runWriter) raw(samples []kiln.Sample) {
	for i, s := range samples {
		if s.Raw != "" {
			e.uint(uint64(i + 1))
			e.text(s.Raw)
		}
	}
	e.uint(0)
}

// decodeRun gives the samples back, all said to be of k.
func decodeRun(data []byte, k kiln.KilnID) ([]kiln.Sample, error) {
	if len(data) < 6 {
		return nil, fmt.Errorf("%w: too short", errRun)
	}
	head, sum := data[:len(data)-4], binary.LittleEndian.Uint32(data[len(data)-4:])
	if crc32.Checksum(head, castagni) != sum {
		return nil, fmt.Errorf("%w: its checksum is wrong", errRun)
	}
	if head[0] != runVersion {
		return nil, fmt.Errorf("%w: form %d is not known", errRun, head[0])
	}
	body := head[2:]
	if head[1] == runDeflated {
		var err error
		if body, err = io.ReadAll(io.LimitReader(flate.NewReader(bytes.NewReader(body)), 64<<20)); err != nil {
			return nil, fmt.Errorf("%w: %v", errRun, err)
		}
	}
	d := &runReader{b: body}
	n := d.uint()
	if n > mostSamples || d.bad {
		return nil, fmt.Errorf("%w: too many samples", errRun)
	}
	samples := make([]kiln.Sample, n)
	d.stamps(samples)
	for i := range samples {
		samples[i].Kiln = k
	}
	for range d.count(64) {
		d.channel(samples, kiln.ChannelID(d.text()))
	}
	for i := d.uint(); i > 0 && i <= n && !d.bad; i = d.uint() {
		samples[i-1].Raw = d.text()
	}
	if d.bad {
		return nil, fmt.Errorf("%w: it ends early", errRun)
	}
	return samples, nil
}

type runReader struct {
	b   []byte
	bad bool
}

func (d *runReader) uint() uint64 {
	v, n := binary.Uvarint(d.b)
	if n <= 0 {
		d.bad, d.b = true, nil
		return 0
	}
	d.b = d.b[n:]
	return v
}

func (d *runReader) int() int64 {
	v, n := binary.Varint(d.b)
	if n <= 0 {
		d.bad, d.b = true, nil
		return 0
	}
	d.b = d.b[n:]
	return v
}

func (d *runReader) text() string {
	n := d.uint()
	if n > uint64(len(d.b)) {
		d.bad = true
		return ""
	}
	v := string(d.b[:n])
	d.b = d.b[n:]
	return v
}

func (d *runReader) count(most uint64) int {
	n := d.uint()
	if n > most {
		d.bad = true
		return 0
	}
	return int(n)
}

func (d *runReader) stamps(samples []kiln.Sample) {
	for i := 0; i < len(samples) && !d.bad; {
		n := d.count(uint64(len(samples) - i))
		boot, off, trusted := kiln.BootID(d.text()), d.int(), d.uint() == 1
		if n == 0 {
			d.bad = true
		}
		last := int64(0)
		for range n {
			last += d.int()
			since := time.Duration(last)
			samples[i].At = kiln.Stamp{Boot: boot, Since: since, Wall: time.UnixMilli(off + since.Milliseconds()).UTC(), Trusted: trusted}
			i++
		}
	}
}

func (d *runReader) channel(samples []kiln.Sample, c kiln.ChannelID) {
	faults := make([]string, len(samples))
	for i := 0; i < len(samples) && !d.bad; {
		n, fault := d.count(uint64(len(samples)-i)), d.text()
		if n == 0 {
			d.bad = true
		}
		for range n {
			faults[i] = fault
			i++
		}
	}
	step := d.count(uint64(len(steps) - 1))
	last := int64(0)
	for i, fault := range faults {
		if d.bad {
			return
		}
		if fault == absent {
			continue
		}
		v := kiln.Value{Channel: c, T: kiln.NoTemperature()}
		if n := len(fault); n > 0 && fault[n-1] == '?' {
			v.Fault = kiln.Fault(fault[:n-1])
		} else {
			last += d.int()
			v.T, v.Fault = kiln.Celsius(value(last, step)), kiln.Fault(fault)
		}
		samples[i].Values = append(samples[i].Values, v)
	}
}

// value is n steps as the float that was read: 9224 tenths are 922.4, the nearest float to it.
func value(n int64, step int) float64 {
	inverse := math.Round(1 / steps[step])
	return float64(n) / inverse
}

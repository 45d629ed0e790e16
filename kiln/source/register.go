package source

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// reading is one request and the channels whose numbers its answer holds.
type reading struct {
	request
	channels []int // places in the kiln's list
}

// plan joins the channels of a kiln into as few requests as can be: registers that lie side by side
// in one slave are read together. Gaps are not read: a slave may refuse what lies in them.
func plan(k Kiln) []reading {
	order := make([]int, len(k.Channels))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := k.Channels[a], k.Channels[b]
		return cmp.Or(x.UnitID-y.UnitID, x.Function-y.Function, x.Register-y.Register)
	})
	var out []reading
	for _, i := range order {
		c := k.Channels[i]
		if n := len(out); n > 0 {
			last := &out[n-1]
			end := c.Register + c.words()
			if last.unit == c.UnitID && last.function == c.Function && c.Register <= last.register+
				last.count && end-last.register <= maxRegisters {
				last.count = max(last.count, end-last.register)
				last.channels = append(last.channels, i)
				continue
			}
		}
		out = append(out, single(c, i))
	}
	return out
}

// single is the request for one channel alone; i is its place in the kiln's list.
func single(c Channel, i int) reading {
	return reading{request{c.UnitID, c.Function, c.Register, c.words()}, []int{i}}
}

// apart is the plan for a reading that its slave refused: each channel on its own.
func (r reading) apart(k Kiln) []reading {
	var out []reading
	for _, i := range r.channels {
		out = append(out, single(k.Channels[i], i))
	}
	return out
}

// requestsOf lists every request that may ever be sent for a kiln: those of the plan, and each
// channel on its own.
func requestsOf(k Kiln) []request {
	var out []request
	for _, r := range plan(k) {
		out = append(out, r.request)
		for _, one := range r.apart(k) {
			out = append(out, one.request)
		}
	}
	return out
}

// fourBytes puts two registers into the order a, b, c, d (most significant first). The order says
// which of these bytes comes first on the wire, second, and so on.
func fourBytes(words []uint16, order string) uint32 {
	w := [4]byte{byte(words[0] >> 8), byte(words[0]), byte(words[1] >> 8), byte(words[1])}
	var v uint32
	for i, name := range []byte(order) {
		v |= uint32(w[i]) << (8 * (3 - uint32(name-'a')))
	}
	return v
}

// decode gives the number of a channel from its registers. The ends of a signed or unsigned number
// (0x7FFF, 0x8000, 0xFFFF and their like of 32 bits), NaN, infinity and anything from 9.9e36 up
// stand for an open couple: NaN and false.
func decode(number, order string, words []uint16) (v float64, ok bool) {
	switch number {
	case "int16":
		return float64(int16(words[0])), words[0] != 0x7fff && words[0] != 0x8000
	case "uint16":
		return float64(words[0]), words[0] != 0xffff && words[0] != 0x7fff && words[0] != 0x8000
	}
	bits := fourBytes(words, order)
	switch number {
	case "int32":
		return float64(int32(bits)), bits != 0x7fffffff && bits != 0x80000000
	case "uint32":
		return float64(bits), bits != 0xffffffff && bits != 0x7fffffff && bits != 0x80000000
	}
	v = float64(math.Float32frombits(bits))
	return v, !math.IsNaN(v) && math.Abs(v) < 9.9e36
}

// raw finds the number of one channel in the answer to r.
func (r reading) raw(c Channel, words []uint16) raw {
	at := c.Register - r.register
	v, ok := decode(c.Number, c.Order, words[at:at+c.words()])
	if !ok {
		return raw{number: math.NaN(), fault: kiln.Break, there: true}
	}
	return raw{number: v, there: true}
}

// Decoded is one number of 32 bits as it would be in every order of its bytes, with scale and
// offset and in the unit of the settings, so that the owner sees which one is right.
type Decoded struct {
	Channel kiln.ChannelID // whose number it is
	Set     string         // the order of the settings
	Values  [4]float64     // by Orders, scaled, in the unit of the settings
}

// Orders are the orders of bytes, in the sequence of Decoded.Values.
func Orders() [4]string { return [4]string{"abcd", "badc", "cdab", "dcba"} }

// Says is d in every order of bytes.
func (d Decoded) Says() message.Message {
	var parts []message.Message
	for i, order := range Orders() {
		one := message.Plain(fmt.Sprintf("%s %.6g", order, d.Values[i]))
		if order == d.Set {
			one = message.New("{1} (set)", one)
		}
		parts = append(parts, one)
	}
	return message.New("channel {1} in every order of bytes: {2}", d.Channel, message.Join(", ", parts...))
}

// decoded is a channel's number in every order of its bytes.
func (r reading) decoded(c Channel, words []uint16) Decoded {
	at := c.Register - r.register
	d := Decoded{Channel: c.ID, Set: c.Order}
	for i, order := range Orders() {
		v, _ := decode(c.Number, order, words[at:at+2])
		d.Values[i] = v*c.Scale + c.Offset
	}
	return d
}

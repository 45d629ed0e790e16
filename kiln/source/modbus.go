package source

import (
	"encoding/binary"

	"lidwright/kiln/message"
)

// The Modbus here reads and does nothing else: functions 03 (holding registers) and 04 (input
// registers) of Modbus Application Protocol V1.1b3, sections 6.3 and 6.4, framed as RTU (Modbus
// over Serial Line V1.02, section 2.5.1). No other request can be written down in this file.

const (
	holding = 3
	input   = 4

	maxRegisters = 125 // of one request, by the standard
	maxFrame     = 256 // bytes, by the standard
)

// request asks a slave for registers.
type request struct {
	unit     int // 1 to 247
	function int // holding or input
	register int // the first, from 0
	count    int // 1 to 125
}

// Says is which registers are read of which slave.
func (r request) Says() message.Message {
	one, several := message.Key("holding register {1} of slave {2}"),
		message.Key("holding registers {1} to {2} of slave {3}")
	if r.function == input {
		one, several = "input register {1} of slave {2}", "input registers {1} to {2} of slave {3}"
	}
	if r.count == 1 {
		return message.New(one, r.register, r.unit)
	}
	return message.New(several, r.register, r.register+r.count-1, r.unit)
}

// frame is the request as it goes down the line.
func (r request) frame() []byte {
	b := []byte{byte(r.unit), byte(r.function), 0, 0, 0, 0, 0, 0}
	binary.BigEndian.PutUint16(b[2:], uint16(r.register))
	binary.BigEndian.PutUint16(b[4:], uint16(r.count))
	binary.LittleEndian.PutUint16(b[6:], crc16(b[:6]))
	return b
}

// isReading reports whether b is a whole Modbus request that reads registers of one slave, and
// nothing else.
func isReading(b []byte) bool {
	if len(b) != 8 || binary.LittleEndian.Uint16(b[6:]) != crc16(b[:6]) {
		return false
	}
	register, count := int(binary.BigEndian.Uint16(b[2:])), int(binary.BigEndian.Uint16(b[4:]))
	return b[0] >= 1 && b[0] <= 247 && (b[1] == holding || b[1] == input) &&
		count >= 1 && count <= maxRegisters && register+count <= 65536
}

// answerLength is how long a good answer to r is, in bytes.
func (r request) answerLength() int { return 5 + 2*r.count }

var (
	errCRC     = message.NewError("the check of the frame does not fit")
	errShort   = message.NewError("the answer is too short")
	errLong    = message.NewError("more than one answer came")
	errNotMine = message.NewError("the answer is to another question")
	errEcho    = message.NewError("the line gives our own question back (echo of a two-wire converter) and no answer")
)

// exception is a slave's refusal. Source: Modbus Application Protocol V1.1b3, section 7.
type exception byte

// Error is Says in English.
func (e exception) Error() string {
	return e.Says().String()
}

// Says is what the refusal means.
func (e exception) Says() message.Message {
	why := map[exception]message.Message{
		1:  message.New("it does not know this function; try the other of 3 and 4"),
		2:  message.New("it has no such register"),
		3:  message.New("it does not take this number of registers"),
		4:  message.New("it failed"),
		5:  message.New("it has begun and needs more time"),
		6:  message.New("it is busy"),
		11: message.New("the gateway got no answer from the device behind it"),
	}[e]
	if why.IsZero() {
		why = message.New("for a reason that the standard does not name")
	}
	return message.New("the slave answered with exception {1}: {2}", int(e), why)
}

// passing reports whether the same question may get an answer a moment later.
func (e exception) passing() bool { return e == 5 || e == 6 }

// parse takes an answer to r apart: the registers, or an exception, or why it is no answer to r.
// Check, unit, function and count must all fit, in this order.
func (r request) parse(b []byte) ([]uint16, error) {
	if len(b) < 5 {
		return nil, errShort
	}
	size := r.answerLength()
	if b[1] == byte(r.function)|0x80 {
		size = 5
	}
	if len(b) < size {
		return nil, errShort
	}
	if len(b) > size {
		return nil, errLong
	}
	if binary.LittleEndian.Uint16(b[size-2:]) != crc16(b[:size-2]) {
		return nil, errCRC
	}
	if int(b[0]) != r.unit {
		return nil, errNotMine
	}
	if b[1] == byte(r.function)|0x80 {
		return nil, exception(b[2])
	}
	if int(b[1]) != r.function || int(b[2]) != 2*r.count {
		return nil, errNotMine
	}
	out := make([]uint16, r.count)
	for i := range out {
		out[i] = binary.BigEndian.Uint16(b[3+2*i:])
	}
	return out, nil
}

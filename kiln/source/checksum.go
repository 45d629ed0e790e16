package source

import (
	"strconv"
	"strings"

	"lidwright/kiln/message"
)

var errChecksum = message.NewError("checksum does not fit")

// stripChecksum checks the checksum at the end of a line and gives the line without it.
//
// The check is the last two hexadecimal digits of the line (crc16: four), with a "*" before them or
// none. It covers everything before that; a "$" that begins the line is not counted.
//
//	xor    all bytes exclusive-ored, as NMEA 0183 has it
//	sum8   the sum of all bytes, modulo 256
//	crc16  CRC-16 of Modbus (polynomial 0xA001 reflected, from 0xFFFF), high byte first
//
// Eight bits of check let one in 256 badly damaged lines through; they find every line with one
// damaged byte.
func stripChecksum(line, kind string) (string, error) {
	digits := 2
	switch kind {
	case "", "none":
		return line, nil
	case "crc16":
		digits = 4
	}
	line = strings.TrimRight(line, " ")
	if len(line) <= digits {
		return "", errChecksum
	}
	body, tail := line[:len(line)-digits], line[len(line)-digits:]
	for _, b := range []byte(tail) { // ParseUint would take a sign or an underscore
		if !(b >= '0' && b <= '9' || b >= 'a' && b <= 'f' || b >= 'A' && b <= 'F') {
			return "", errChecksum
		}
	}
	want, err := strconv.ParseUint(tail, 16, 16)
	if err != nil {
		return "", errChecksum
	}
	body = strings.TrimSuffix(body, "*")
	counted := strings.TrimPrefix(body, "$")
	if uint64(sumOf(counted, kind)) != want {
		return "", errChecksum
	}
	return counted, nil
}

// sumOf is the check of a kind over text; sum8 for any other kind, which Validate lets none be.
func sumOf(text, kind string) uint16 {
	var sum byte
	switch kind {
	case "crc16":
		return crc16([]byte(text))
	case "xor":
		for _, b := range []byte(text) {
			sum ^= b
		}
	default:
		for _, b := range []byte(text) {
			sum += b
		}
	}
	return uint16(sum)
}

// crc16 is the check of a Modbus frame. Source: Modbus over Serial Line, Specification and
// Implementation Guide V1.02, section 6.2.2 and appendix B.
func crc16(bytes []byte) uint16 {
	crc := uint16(0xffff)
	for _, b := range bytes {
		crc ^= uint16(b)
		for range 8 {
			if crc&1 != 0 {
				crc = crc>>1 ^ 0xa001
			} else {
				crc >>= 1
			}
		}
	}
	return crc
}

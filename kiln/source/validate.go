package source

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"lidwright/kiln"
)

// Validate gives every mistake in s at once, each with the key of the settings file at fault and
// what would be right; nil if s can work.
func (s Settings) Validate() error {
	var wrong []error
	say := func(key, format string, args ...any) {
		wrong = append(wrong, fmt.Errorf("%s: %s", key, fmt.Sprintf(format, args...)))
	}
	if s.Port == "" {
		say("port", "missing: the link of the device, such as /dev/serial/by-id/...")
	}
	if len(s.Kilns) == 0 {
		say("kiln", "no kiln speaks on %s", s.Port)
	}
	if !s.played() {
		if !slices.Contains(Speeds(), s.Speed) {
			say("speed", "%d baud is no usual speed; take one of %v", s.Speed, Speeds())
		}
		if _, err := modeOf(s.Speed, s.Framing); err != nil {
			say("framing", "%v", err)
		}
	}
	s.together(say)
	for _, k := range s.Kilns {
		k.validate(func(key, format string, args ...any) {
			say(fmt.Sprintf("kiln.%s.%s", k.ID, key), format, args...)
		})
	}
	return errors.Join(wrong...)
}

// played reports whether the line is a recorded one, from a file.
func (s Settings) played() bool { return len(s.Kilns) > 0 && s.Kilns[0].Reply == "replay" }

// Speeds are the speeds that a line may have, in baud. Odd ones fail on some small computers.
func Speeds() []int {
	return []int{300, 600, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400}
}

// together finds kilns that cannot share a line.
func (s Settings) together(say func(key, format string, args ...any)) {
	seen := map[kiln.KilnID]bool{}
	for i, k := range s.Kilns {
		first := s.Kilns[0]
		key := fmt.Sprintf("kiln.%s.", k.ID)
		if seen[k.ID] {
			say(key+"port", "two kilns of one name on one line")
		}
		seen[k.ID] = true
		if i == 0 {
			continue
		}
		switch {
		case k.modbus() != first.modbus() || (k.Reply == "replay") != (first.Reply == "replay"):
			say(key+"reply", "%s and %s cannot share the port %s", k.Reply, first.Reply, s.Port)
		case k.modbus():
		case (len(k.Poll) > 0) != (len(first.Poll) > 0):
			say(key+"poll_bytes", "on the port of %s either all kilns are asked or none", first.ID)
		case k.Terminator != first.Terminator:
			say(key+"terminator", "differs from that of %s on the same port", first.ID)
		}
		if !k.modbus() && len(k.Poll) == 0 && (k.Select == "" || first.Select == "") {
			say(key+"select", "needed, also for %s: several kilns send lines on one port", first.ID)
		}
	}
}

var (
	replies   = []string{"columns", "keyvalue", "json", "pattern", "modbus", "replay"}
	checksums = []string{"", "none", "xor", "sum8", "crc16"}
	units     = []string{"c", "f", "k", "mv"}
	numbers   = []string{"int16", "uint16", "int32", "uint32", "float32"}
	orders    = []string{"abcd", "badc", "cdab", "dcba"}
)

// validate says every mistake in what is set of one kiln, each with its key, so that all can be put right
// at once.
func (k Kiln) validate(say func(key, format string, args ...any)) {
	if !slices.Contains(replies, k.Reply) {
		say("reply", "%q is no form of reply; it is one of %s", k.Reply, strings.Join(replies, ", "))
	}
	if !slices.Contains(checksums, k.Checksum) {
		say("checksum", "%q is no checksum; it is one of none, xor, sum8, crc16", k.Checksum)
	}
	if k.Every <= 0 {
		say("every", "%v: must be above 0, such as \"1s\"", k.Every)
	}
	if (k.columned() || k.Reply == "keyvalue") && k.Separator == "" {
		say("separator", "missing: what stands between two values, such as \",\"")
	}
	if k.DecimalComma && strings.Contains(k.Separator, ",") {
		say("separator", "a comma cannot be both the decimal sign and the separator; take \";\"")
	}
	if !k.modbus() && !goodTerminator(k.Terminator) {
		say("terminator", "%q: one or two bytes that end a line and stand nowhere else in it, such as \"\\n\"",
			k.Terminator)
	}
	if k.Reply == "pattern" {
		k.validatePattern(say)
	}
	k.validatePolls(say)
	if len(k.Channels) == 0 {
		say("channel", "no channel: name at least one, such as [kiln.%s.channel.1]", k.ID)
	}
	seen := map[kiln.ChannelID]bool{}
	for _, c := range k.Channels {
		key := fmt.Sprintf("channel.%s.", c.ID)
		if seen[c.ID] {
			say(key+"from", "two channels of one name")
		}
		seen[c.ID] = true
		k.validateChannel(c, func(name, format string, args ...any) { say(key+name, format, args...) })
	}
}

// goodTerminator reports whether a line may end so: with one or two bytes, none of them NUL or part
// of a number.
func goodTerminator(end string) bool {
	return len(end) >= 1 && len(end) <= 2 && !strings.ContainsAny(end, "\x000123456789.,+-eE")
}

// validatePattern looks for a group for every channel.
func (k Kiln) validatePattern(say func(key, format string, args ...any)) {
	re, err := regexp.Compile(k.Pattern)
	if err != nil {
		say("pattern", "%v", err)
		return
	}
	for _, c := range k.Channels {
		if re.SubexpIndex(c.From) < 0 {
			say(fmt.Sprintf("channel.%s.from", c.ID), "the pattern has no group %q; write it (?P<%s>...)",
				c.From,
				c.From)
		}
	}
	if k.TimeColumn != "" && re.SubexpIndex(k.TimeColumn) < 0 {
		say("time_column", "the pattern has no group %q", k.TimeColumn)
	}
}

// validatePolls holds the poll strings to what may ever be sent.
func (k Kiln) validatePolls(say func(key, format string, args ...any)) {
	if len(k.Poll) > 0 && (k.modbus() || k.Reply == "replay") {
		say("poll_bytes", "a kiln with reply = %q is sent no poll strings", k.Reply)
	}
	for _, p := range k.Poll {
		if err := checkPoll(p, k.PollOther, k.PollReason); err != nil {
			say("poll_bytes", "%v", err)
		}
	}
}

// validateChannel says the mistakes of one channel: unit and scale, what its cold junction and type need,
// and then its place on the line or its registers.
func (k Kiln) validateChannel(c Channel, say func(key, format string, args ...any)) {
	if !slices.Contains(units, c.Unit) {
		say("unit", "%q is no unit; it is one of c, f, k, mv", c.Unit)
	}
	if c.Scale == 0 || math.IsNaN(c.Scale) || math.IsInf(c.Scale, 0) {
		say("scale", "%v: every reading would be the same; 1 leaves it as it is", c.Scale)
	}
	if math.IsNaN(c.Offset) || math.IsInf(c.Offset, 0) {
		say("offset", "%v is no number", c.Offset)
	}
	if c.ColdJunction != "" {
		switch junction, ok := k.channel(c.ColdJunction); {
		case !ok:
			say("cold_junction", "there is no channel %q", c.ColdJunction)
		case junction.Unit == "mv" || c.ColdJunction == c.ID:
			say("cold_junction", "channel %q is no temperature of a junction", c.ColdJunction)
		}
	}
	if c.Unit == "mv" && c.Type == 0 {
		say("unit", "mv needs the type of the thermocouple: probe.%s.type", c.ID)
	}
	if c.Unit == "mv" && c.ColdJunction == "" && c.Type != 'B' {
		say("cold_junction", "needed with unit mv: the channel that tells the temperature of the junction")
	}
	if !c.Linearised && c.Type != 0 && c.Type != 'K' {
		say("type", "linearised = false undoes the fixed slope of a type K front end; this is type %v",
			c.Type)
	}
	if !c.Linearised && c.ColdJunction == "" && c.Type != 0 {
		say("cold_junction", "linearised = false needs it: without it nothing can be undone")
	}
	if !k.modbus() {
		if c.From == "" {
			say("from", "missing: where on the line the number is")
		}
		if n, err := strconv.Atoi(c.From); err == nil && k.columned() && (n < 1 || n > maxColumns) {
			say("from", "column %d: columns count from 1 to %d", n, maxColumns)
		}
		return
	}
	if c.UnitID < 1 || c.UnitID > 247 {
		say("unit_id", "%d: a slave has a number from 1 to 247", c.UnitID)
	}
	if c.Function != 3 && c.Function != 4 {
		say("function", "%d: only 3 (holding registers) and 4 (input registers) are ever read", c.Function)
	}
	if !slices.Contains(numbers, c.Number) {
		say("type", "%q is no number; it is one of %s", c.Number, strings.Join(numbers, ", "))
	}
	if !slices.Contains(orders, c.Order) {
		say("order", "%q is no order of bytes; it is one of %s", c.Order, strings.Join(orders, ", "))
	}
	if c.Register < 0 || c.Register+c.words() > 65536 {
		say("register", "%d: registers go from 0 to %d", c.Register, 65536-c.words())
	}
}

package config

import (
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"lidwright/kiln"
	"lidwright/kiln/thermocouple"
)

// speeds are the rates that every serial adapter has; odd ones failed on small boards.
func speeds() []int {
	return []int{1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400}
}

func (r *reader) kiln(k *Kiln) {
	key := "kiln." + string(k.ID)
	r.need(key+".port", `the by-id link of the line, as "/dev/serial/by-id/usb-...", or "" for a kiln without one`)
	r.need(key+".limit_c", "the kiln's own limit in °C; a notice is sent when it is passed")
	if k.KeepShutAboveC > 50 && !r.wrong[key+".keep_shut_above_c"] &&
		strings.TrimSpace(k.KeepShutReason) == "" {
		r.add(key+".keep_shut_reason", "is needed, because keep_shut_above_c is over 50, where a touch can burn: who says so, and why")
	}
	for name, text := range map[string]string{".keep_shut_reason": k.KeepShutReason,
		".poll_reason": k.PollReason} {
		if !printable(text) || len([]rune(text)) > 500 {
			r.add(key+name, "must be printable and at most 500 characters")
		}
	}
	r.kilnProbes(key, k)
	if k.Port == "" {
		return // fired by hand: no line, nothing to read
	}
	if !filepath.IsAbs(k.Port) {
		r.add(key+".port", `is %s; must be a path from / on, as "/dev/serial/by-id/usb-..."`, show(k.Port))
	}
	if k.Reply != "replay" && regexp.MustCompile(`^/dev/tty(USB|ACM)\d+$`).MatchString(k.Port) {
		r.advise(key+".port", "is %s, which may be another device after a replug; use its link in /dev/serial/by-id or by-path", k.Port)
	}
	if !slices.Contains(speeds(), k.Speed) {
		r.add(key+".speed", "is %d; must be one of 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400",
			k.Speed)
	}
	r.need(key+".reply", "the form of what the line says: columns, keyvalue, json, pattern, modbus or replay")
	r.form(key, k)
	r.poll(key, k)
	if len(k.Channels) == 0 && !r.wrong[key+".channel"] {
		r.add(key+".channel", "is needed: at least one channel, as [%s.channel.1]", key)
	}
	for i := range k.Channels {
		r.channel(key, k, &k.Channels[i])
	}
}

// form looks at how a line is cut and read.
func (r *reader) form(key string, k *Kiln) {
	if n := len(k.Terminator); n < 1 || n > 4 {
		r.add(key+".terminator", `is %s; must be 1 to 4 bytes, as "\n" or "\r\n"`, show(k.Terminator))
	}
	if len(k.Select) > 64 {
		r.add(key+".select", "must be at most 64 bytes")
	}
	if s := k.Separator; s == "" || len(s) > 4 || strings.ContainsAny(s, "0123456789.+-\r\n") {
		r.add(key+".separator", `is %s; must be 1 to 4 bytes and no digit, point, sign or line end, as ",", ";" or "\t"`, show(s))
	}
	split := k.Reply == "columns" || k.Reply == "keyvalue" || k.Reply == "replay"
	if k.DecimalComma && split && strings.Contains(k.Separator, ",") {
		r.add(key+".decimal_comma", `is true while the separator is a comma too; set separator, as ";"`)
	}
	if k.Reply != "pattern" {
		if k.Pattern != "" {
			r.add(key+".pattern", `goes only with reply = "pattern"; leave it out or change reply`)
		}
		return
	}
	groups, says := namedGroups(k.Pattern)
	if says != "" {
		r.need(key+".pattern", "a regular expression with a named group for each channel")
		r.add(key+".pattern", "%s", says)
		return
	}
	if k.TimeColumn != "" && !slices.Contains(groups, k.TimeColumn) {
		r.add(key+".time_column", "is %s, but the pattern has no group of that name; it has %s",
			show(k.TimeColumn), strings.Join(groups, ", "))
	}
	for _, c := range k.Channels {
		if c.From != "" && !slices.Contains(groups, string(c.From)) {
			r.add(key+".channel."+string(c.ID)+".from",
				"is %s, but the pattern has no group of that name; it has %s",
				show(string(c.From)), strings.Join(groups, ", "))
		}
	}
}

func namedGroups(pattern string) (groups []string, says string) {
	re, err := regexp.Compile(pattern)
	if err != nil || len(pattern) > 1000 {
		return nil, "is no regular expression of Go (RE2) up to 1000 bytes: " + show(pattern)
	}
	for _, name := range re.SubexpNames() {
		if name != "" {
			groups = append(groups, name)
		}
	}
	if len(groups) == 0 {
		return nil, "has no named group; write the number of a channel as (?P<top>[0-9.]+)"
	}
	return groups, ""
}

// poll holds the rule of what may be sent: questions and nothing else.
func (r *reader) poll(key string, k *Kiln) {
	if len(k.PollBytes) > 0 && (k.Reply == "modbus" || k.Reply == "replay") {
		r.add(key+".poll_bytes", "must be [] with reply = %s: nothing of the kind is sent there",
			show(k.Reply))
	}
	if len(k.PollBytes) > 16 {
		r.add(key+".poll_bytes", "holds %d; at most 16", len(k.PollBytes))
	}
	if k.PollOther && strings.TrimSpace(k.PollReason) == "" {
		r.add(key+".poll_reason", "is needed, because poll_other = true: why this controller must be asked in a way that does not end in ?")
	}
	for _, p := range k.PollBytes {
		ascii := !strings.ContainsFunc(p, func(c rune) bool { return c < 0x20 || c > 0x7e })
		switch {
		case p == "" || len(p) > 32 || !ascii:
			r.add(key+".poll_bytes", "holds %s; must be 1 to 32 printable ASCII signs each", show(p))
		case !strings.HasSuffix(p, "?") && !k.PollOther:
			r.add(key+".poll_bytes", "holds %s; must end in ?, unless poll_other = true with a poll_reason",
				show(p))
		}
	}
}

func (r *reader) channel(kilnKey string, k *Kiln, c *Channel) {
	key := kilnKey + ".channel." + string(c.ID)
	r.need(key+".unit", "c, f, k or mv")
	if c.Scale == 0 {
		r.add(key+".scale", "is 0, which makes every reading the same; must be another number, as 0.1 for tenths")
	}
	if math.Abs(c.Scale) > 1e6 || math.Abs(c.Offset) > 1e6 {
		r.add(key+".offset", "and scale must be at most 1000000")
	}
	if k.Reply == "modbus" {
		r.register(key, c)
	} else {
		r.from(key, k, c)
	}
	r.coldJunction(key, k, c)
}

func (r *reader) register(key string, c *Channel) {
	r.need(key+".register", "the register's number as on the wire, 0 to 65535")
	wide := c.Type == "int32" || c.Type == "uint32" || c.Type == "float32"
	if wide && c.Register == 65535 {
		r.add(key+".register", "is 65535, but %s needs two registers; must be at most 65534", c.Type)
	}
	if c.From != "" {
		r.add(key+".from", `goes with every reply but "modbus"; use register`)
	}
}

func (r *reader) from(key string, k *Kiln, c *Channel) {
	if k.Reply == "" {
		return
	}
	r.need(key+".from", "where the number stands: a column, key, JSON path or group")
	if n, err := strconv.Atoi(string(c.From)); err == nil && n < 1 &&
		(k.Reply == "columns" || k.Reply == "replay") {
		r.add(key+".from", "is %d; columns count from 1", n)
	}
	if _, given := r.doc.lines[key+".from"]; given && (c.From == "" || len(c.From) > 100 ||
		!printable(string(c.From))) {
		r.add(key+".from", "is %s; must be 1 to 100 printable characters", show(string(c.From)))
	}
	for _, name := range []string{"unit_id", "function", "register", "type", "order"} {
		if _, given := r.doc.lines[key+"."+name]; given {
			r.add(key+"."+name, `goes only with reply = "modbus"; leave it out, or change reply`)
		}
	}
}

func (r *reader) coldJunction(key string, k *Kiln, c *Channel) {
	probe, _ := k.Probe(c.ID)
	if c.Unit == "mv" && c.Role != kiln.RoleProbe {
		r.add(key+".unit", `is "mv", which goes only with role = "probe"`)
	}
	if c.ColdJunction == "" {
		if c.Unit == "mv" && c.Role == kiln.RoleProbe && probe.Type != thermocouple.B {
			r.need(key+".cold_junction", "with unit = \"mv\", the channel that reads the temperature where the couple meets copper (only type B can do without)")
		}
		return
	}
	cold, ok := k.Channel(c.ColdJunction)
	switch {
	case !ok:
		r.add(key+".cold_junction", "is %s, but the kiln has no such channel; it has %s",
			show(string(c.ColdJunction)), channelNames(k))
	case cold.ID == c.ID:
		r.add(key+".cold_junction", "is the channel itself; must be another one, in °C, °F or K")
	case cold.Unit == "mv":
		r.add(key+".cold_junction", "is %s, which is in mV; must be a channel in °C, °F or K",
			show(string(c.ColdJunction)))
	case cold.Role == kiln.RoleProbe:
		r.add("kiln."+string(k.ID)+".channel."+string(cold.ID)+".role",
			`is "probe", but it is the cold junction of another channel; must be "other"`)
	}
}

// kilnProbes settles roles and the control channel, and looks at the thermocouples.
func (r *reader) kilnProbes(key string, k *Kiln) {
	for i := range k.Channels {
		c := &k.Channels[i]
		_, given := r.doc.lines[key+".channel."+string(c.ID)+".role"]
		isCold := slices.ContainsFunc(k.Channels,
			func(o Channel) bool { return o.ColdJunction == c.ID && o.ID != c.ID })
		if isCold && !given {
			c.Role = kiln.RoleOther
		}
	}
	isProbe := func(id kiln.ChannelID) bool {
		c, ok := k.Channel(id)
		return ok && c.Role == kiln.RoleProbe
	}
	for _, c := range k.Channels {
		if c.Role != kiln.RoleProbe {
			continue
		}
		if k.Control == "" {
			k.Control = c.ID
		}
		if _, ok := k.Probe(c.ID); !ok {
			r.need(key+".probe."+string(c.ID)+".type",
				"the letter of the thermocouple on channel "+string(c.ID)+": K, S, R, N, B, J, E or T")
		}
	}
	if k.Control != "" && !isProbe(k.Control) {
		r.add(key+".control", `is %s; must be a channel with role = "probe"; the kiln has channels %s`,
			show(string(k.Control)), channelNames(k))
	}
	for _, p := range k.Probes {
		at := key + ".probe." + string(p.Channel)
		r.need(at+".type", "the letter of the thermocouple: K, S, R, N, B, J, E or T")
		c, ok := k.Channel(p.Channel)
		if !ok || c.Role != kiln.RoleProbe {
			r.add(at, `names no channel with role = "probe"; the kiln has channels %s`, channelNames(k))
		} else if !p.Linearised && (p.Type != thermocouple.K || c.ColdJunction == "" || c.Unit == "mv") {
			r.add(at+".linearised", "= false needs type K, a unit of degrees and a cold_junction on its channel; else leave it out")
		}
		if p.Class == 1 && p.Type == thermocouple.B {
			r.add(at+".class", "is 1, which type B does not have; must be 2")
		}
	}
	for shelf, id := range k.Shelves {
		if !isProbe(id) {
			r.add(key+".shelf."+shelf, `is %s; must be a channel with role = "probe"; the kiln has channels %s`,
				show(string(id)), channelNames(k))
		}
	}
}

func channelNames(k *Kiln) string {
	if len(k.Channels) == 0 {
		return "none"
	}
	names := make([]string, len(k.Channels))
	for i, c := range k.Channels {
		names[i] = string(c.ID)
	}
	return strings.Join(names, ", ")
}

// sharedPorts holds kilns on one port to one way of speaking.
func (r *reader) sharedPorts(kilns []Kiln) {
	first := map[string]Kiln{}
	for _, k := range kilns {
		if k.Port == "" {
			continue
		}
		f, shared := first[k.Port]
		if !shared {
			first[k.Port] = k
			continue
		}
		key := "kiln." + string(k.ID)
		if k.Speed != f.Speed {
			r.add(key+".speed", "is %d, but kiln %s on the same port has %d; one port has one speed", k.Speed,
				f.ID,
				f.Speed)
		}
		if k.Framing != f.Framing {
			r.add(key+".framing", "is %s, but kiln %s on the same port has %s; one port has one framing",
				k.Framing,
				f.ID, f.Framing)
		}
		if (k.Reply == "modbus") != (f.Reply == "modbus") && k.Reply != "" && f.Reply != "" {
			r.add(key+".reply", "is %s, but kiln %s on the same port has %s; modbus shares its port with modbus alone", k.Reply, f.ID, f.Reply)
		} else if k.Reply != "modbus" && k.Terminator != f.Terminator {
			r.add(key+".terminator", "is %s, but kiln %s on the same port has %s; one port has one line end",
				show(k.Terminator), f.ID, show(f.Terminator))
		}
		if k.Reply == "modbus" || f.Reply == "modbus" {
			continue
		}
		if asked := len(f.PollBytes) > 0; asked != (len(k.PollBytes) > 0) {
			r.add(key+".poll_bytes", "and those of kiln %s on the same port: either all kilns of a port are asked or none", f.ID)
		} else if !asked {
			for _, one := range []Kiln{f, k} {
				if one.Select == "" {
					r.add("kiln."+string(one.ID)+".select",
						"is needed: what its lines begin with, for several kilns send lines on the port %s",
						one.Port)
				}
			}
		}
	}
}

// formerNames holds the names that kilns had apart: a name has been that of one kiln, which is no other now.
func (r *reader) formerNames(kilns []Kiln) {
	of := map[string]kiln.KilnID{}
	for _, k := range kilns {
		key := "kiln." + string(k.ID) + ".was"
		for _, was := range k.Was {
			other, twice := of[was]
			switch {
			case !IsName(was):
				r.add(key, "holds %s; must be names of small letters, digits and hyphens, as [\"old-blue\"]",
					show(was))
			case slices.ContainsFunc(kilns, func(o Kiln) bool { return string(o.ID) == was }):
				r.add(key, "holds %s, which is a kiln of this file: take its table away, or the name out of was",
					show(was))
			case twice:
				r.add(key, "holds %s, and kiln %s has it too; it was the name of one of the two", show(was),
					other)
			}
			of[was] = k.ID
		}
	}
}

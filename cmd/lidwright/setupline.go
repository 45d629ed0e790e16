package main

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"lidwright/config"
	"lidwright/kiln"
	"lidwright/kiln/source"
)

// line finds out what the kiln says.
func (s *setup) line(ctx context.Context) error {
	if s.kiln.Port == "" {
		return nil
	}
	listens, err := s.yes(ctx, "listens", "\nDoes the controller speak by itself (no: only when it is asked)",
		"yes")
	if err != nil {
		return err
	}
	if !listens {
		return s.asked(ctx)
	}
	hear := source.Listener{Open: source.OpenPort, Patience: s.patience,
		Tell: func(text string) { s.say("  %s", text) }}
	heard, err := hear.Hear(ctx, s.kiln.Port)
	switch {
	case errors.Is(err, source.ErrSilent):
		return fmt.Errorf("%w. Is the controller on, its port switched on in its menu, the plug in? If it speaks only when it is asked, begin again and say so", err)
	case errors.Is(err, source.ErrUnknown):
		return fmt.Errorf("%w. Look up speed and form in the manual of the controller and write the kiln by hand (reply = \"pattern\" reads nearly any line, all of which the pattern must match), then `lidwright check`", err)
	case err != nil:
		return err
	}
	s.kiln.Speed, s.kiln.Framing = heard.Speed, heard.Framing
	if heard.Every > time.Second {
		s.kiln.Every = heard.Every
	}
	r := heard.Readings[0]
	if len(heard.Readings) > 1 {
		s.say("What is said can be read in several ways:")
		for i, one := range heard.Readings {
			s.say("  %d  %s", i+1, inForm(one))
		}
		text, err := s.ask(ctx, question{key: "reading", asks: "Which one is right", standard: "1",
			check: within(1, float64(len(heard.Readings)))})
		if err != nil {
			return err
		}
		n, _ := strconv.Atoi(text)
		r = heard.Readings[n-1]
	}
	s.say("Received %d lines at %d baud %s: %s\n  last %q", r.Good, heard.Speed,
		heard.Framing, inForm(r), r.Last)
	s.kiln.Reply, s.kiln.Separator, s.kiln.DecimalComma, s.kiln.Checksum =
		r.Kiln.Reply, r.Kiln.Separator, r.Kiln.DecimalComma, r.Kiln.Checksum
	return s.channels(ctx, r)
}

// inForm is a reading in words.
func inForm(r source.Reading) string {
	words := map[string]string{"columns": "columns", "keyvalue": "keys and values",
		"json": "JSON"}[r.Kiln.Reply]
	if r.Kiln.Reply != "json" && len(r.Places) > 1 {
		words += " with " + map[string]string{",": "a comma", ";": "a semicolon", "\t": "a tab",
			" ": "blanks"}[r.Kiln.Separator] + " between"
	}
	if r.Kiln.DecimalComma {
		words += ", decimal commas"
	}
	if r.Kiln.Checksum != "none" {
		words += ", a check of " + r.Kiln.Checksum
	}
	for i, p := range r.Places {
		words += map[bool]string{true: ": ", false: ", "}[i == 0] + fmt.Sprintf("%s is %.4g", p.From, p.Last)
	}
	return words
}

// channels asks what each number is.
func (s *setup) channels(ctx context.Context, r source.Reading) error {
	probes, candidates := 0, 0
	for _, p := range r.Places {
		if mayBeProbe(p) {
			candidates++
		}
	}
	for i, p := range r.Places {
		if p.Unit == "mv" {
			s.say("%s is in mV: such a channel needs a cold junction and is written by hand", p.From)
			continue
		}
		id := channelName(p.From, i)
		standard := "skip"
		if mayBeProbe(p) && probes == 0 {
			standard = "probe"
			if candidates > 1 { // a probe is never taken unasked where it could be another number
				standard = ""
			}
		}
		s.say("\n%s", placeInWords(r, p))
		role, err := s.ask(ctx, question{key: "channel_" + id,
			asks: "What is it: probe (of the kiln), room, vent, other or skip", standard: standard,
			check: oneOf("probe", "room", "vent", "other", "skip")})
		if err != nil {
			return err
		}
		if role == "skip" {
			continue
		}
		unit, err := s.ask(ctx, question{key: "unit_" + id, asks: "Its unit: c, f or k",
			standard: likelyUnit(p), check: oneOf("c", "f", "k")})
		if err != nil {
			return err
		}
		one := config.DefaultChannel()
		one.ID, one.From, one.Unit, one.Role =
			kiln.ChannelID(id), config.Column(p.From), unit, kiln.Role(role)
		if err := s.add(ctx, one); err != nil {
			return err
		}
		if role == "probe" {
			probes++
		}
	}
	if probes == 0 {
		return &exit{exitWrongUse, "none of the numbers is the kiln's probe; nothing was written"}
	}
	return nil
}

// mayBeProbe reports whether a number could be the kiln's temperature.
func mayBeProbe(p source.Place) bool { return p.Believable && !p.Counts && p.Unit != "mv" }

// add puts a channel into the kiln, with its thermocouple.
func (s *setup) add(ctx context.Context, c config.Channel) error {
	s.kiln.Channels = append(s.kiln.Channels, c)
	if c.Role != kiln.RoleProbe {
		return nil
	}
	p := config.DefaultProbe()
	p.Channel = c.ID
	_, err := s.ask(ctx, question{key: "type_" + string(c.ID),
		asks: "Its thermocouple, as the controller's menu or the probe's label has it: K, S, R, N, B, J, E or T", standard: "K", check: func(text string) error {
			return p.Type.UnmarshalText([]byte(strings.ToUpper(text)))
		}})
	s.kiln.Probes = append(s.kiln.Probes, p)
	return err
}

var notInName = regexp.MustCompile(`[^a-z0-9]+`)

// channelName makes a name of settings of the place of a number.
func channelName(from string, i int) string {
	name := strings.Trim(notInName.ReplaceAllString(strings.ToLower(from), "-"), "-")
	if name == "" || len(name) > 40 {
		return "n" + strconv.Itoa(i+1)
	}
	return name
}

// placeInWords says what a number would mean.
func placeInWords(r source.Reading, p source.Place) string {
	where := "At " + p.From
	if r.Kiln.Reply == "columns" {
		where = "Column " + p.From
	}
	if p.Counts {
		return fmt.Sprintf("%s says %.4g now and goes up by the same step on every line, as a counter or a clock does: skip it unless you know better.", where, p.Last)
	}
	if p.Unit != "" {
		return fmt.Sprintf("%s says %.4g and the unit %s: that is %.1f °C now.", where, p.Last,
			p.Unit, p.Turned(p.Unit))
	}
	return fmt.Sprintf("%s says %.4g now: %.1f °C if the line is in °C, %.1f °C if it is in °F. Is one of them about the room, or what the controller shows?", where, p.Last, p.Turned("c"), p.Turned("f"))
}

// likelyUnit is the unit under which a cold kiln would be as warm as rooms are, "" if it may be either.
func likelyUnit(p source.Place) string {
	room := func(unit string) bool { t := p.Turned(unit); return t > 0 && t < 45 }
	switch {
	case p.Unit != "":
		return p.Unit
	case room("c") && !room("f"):
		return "c"
	case room("f") && !room("c"):
		return "f"
	}
	return ""
}

// asked sets up a controller that must be asked.
func (s *setup) asked(ctx context.Context) error {
	var err error
	answer := func(key, asks, standard string, check func(string) error) string {
		if err != nil {
			return ""
		}
		var text string
		text, err = s.ask(ctx, question{key, asks, standard, check})
		return text
	}
	s.say("Its manual says how it is asked. Only a line that ends in ? or a reading of Modbus registers can be sent.")
	s.kiln.Speed, _ = strconv.Atoi(answer("speed", "Speed in baud", "9600", func(text string) error {
		n, _ := strconv.Atoi(text)
		if !slices.Contains(source.Speeds(), n) {
			return fmt.Errorf("%q: must be one of %v", text, source.Speeds())
		}
		return nil
	}))
	s.kiln.Framing = answer("framing", "Bits, parity and stop bits", "8N1", oneOf("8N1", "8N2", "8E1", "8E2",
		"8O1", "8O2", "7N2", "7E1", "7E2", "7O1", "7O2"))
	question := answer("ask", "What is sent: modbus, or the words of its question, as READ?", "modbus",
		func(text string) error {
			if text != "modbus" && !strings.HasSuffix(text, "?") {
				return fmt.Errorf("%q does not end in ?; a question that ends otherwise is written by hand, with a reason", text)
			}
			return nil
		})
	if err != nil {
		return err
	}
	var probes []config.Channel
	if question == "modbus" {
		c := config.DefaultChannel()
		c.ID, s.kiln.Reply = "1", "modbus"
		number := func(key, asks, standard string, least, most float64) int {
			n, _ := strconv.Atoi(answer(key, asks, standard, within(least, most)))
			return n
		}
		c.UnitID = number("unit_id", "Number of the controller on the bus", "1", 1, 247)
		c.Function = number("function", "Function: 3 (holding registers) or 4 (input registers)", "3", 3, 4)
		c.Register = number("register", "Register of the temperature, as on the wire, from 0", "", 0, 65535)
		c.Type = answer("number", "Kind of number: int16, uint16, int32, uint32 or float32", "int16",
			oneOf("int16", "uint16", "int32", "uint32", "float32"))
		if strings.HasSuffix(c.Type, "32") {
			c.Order = answer("order", "Order of its bytes: abcd, badc, cdab or dcba", "abcd",
				oneOf("abcd", "badc", "cdab", "dcba"))
		}
		probes = append(probes, c)
	} else {
		s.kiln.Reply, s.kiln.PollBytes = "columns", []string{question}
		c := config.DefaultChannel()
		c.ID, c.From = "1", "1"
		probes = append(probes, c)
		s.say("The first number of its answer is taken; more of them are written by hand.")
	}
	for _, c := range probes {
		c.Unit = answer("unit_1", "Its unit: c, f or k", "c", oneOf("c", "f", "k"))
		if err != nil {
			return err
		}
		if err := s.add(ctx, c); err != nil {
			return err
		}
	}
	return nil
}

// within lets whole numbers of a range through.
func within(least, most float64) func(string) error {
	return func(text string) error {
		n, err := strconv.Atoi(text)
		if err != nil || float64(n) < least || float64(n) > most {
			return fmt.Errorf("%q: a whole number from %g to %g", text, least, most)
		}
		return nil
	}
}

func (s *setup) yes(ctx context.Context, key, asks, standard string) (bool, error) {
	text, err := s.ask(ctx, question{key, asks + " (yes or no)", standard, oneOf("yes", "no")})
	return text == "yes", err
}

package main

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"lidwright/config"
	"lidwright/daemon"
	"lidwright/kiln/source"
)

// misused gives an error of what was typed its exit code.
func misused(err error) error { return &exit{exitWrongUse, err.Error()} }

// busCautions stand before anything is sent to a bus that is looked at.
var busCautions = []string{
	"Never while a kiln on this bus fires: its controller may wait for answers that our questions disturb.",
	"Whoever else asks on this bus (a panel, a recorder, another computer) is off meanwhile: two that ask at once spoil each other's answers.",
	"The manual of each device must allow this register to be read. Nothing is written to any of them.",
}

// bus finds out which slaves of a line answer, and at which speed; before --yes it only tells what it would
// send.
func (r *checked) bus(c *cobra.Command, cfg config.Config, on string) (none bool, err error) {
	search, known, err := busSearch(c, cfg, on)
	if err != nil {
		return false, err
	}
	if slices.ContainsFunc(cfg.Kilns, func(k config.Kiln) bool { return k.Port == search.Port }) &&
		!daemon.NobodyRuns(cfg) {
		return false, &exit{exitFailed, "a daemon has this line open, or may have; stop it first (sudo systemctl stop lidwright), then look at the bus, then start it again"}
	}
	for _, text := range busCautions {
		fmt.Fprintf(c.ErrOrStderr(), "Caution: %s\n", text)
	}
	fmt.Fprintf(c.ErrOrStderr(), "%s\n", willAsk(search, known))
	if yes, _ := c.Flags().GetBool("yes"); !yes {
		r.say(false, "bus", "nothing was sent; with --yes it is")
		return false, nil
	}
	search.Open = source.OpenPort
	search.Tell = func(text string) { fmt.Fprintln(c.ErrOrStderr(), text) }
	found, err := search.Search(c.Context())
	if err != nil {
		return false, err
	}
	var there []int
	for _, f := range found {
		if f.Garbled == "" {
			there = append(there, f.Unit)
		}
		r.say(f.Garbled == "" && f.Way == search.Ways[0], "bus", "%s", busInWords(f, search.Ways[0]))
	}
	for _, unit := range search.Want {
		if !slices.Contains(there, unit) && (known || len(there) == 0) {
			r.say(false, "bus", "number %d does not answer at any usual speed: its number, its power, its communication menu, the two wires", unit)
		}
	}
	return len(there) == 0, nil
}

// busInWords says what answered.
func busInWords(f source.BusFound, set source.BusWay) string {
	what := map[int]string{3: "holding", 4: "input"}[f.Function]
	text := fmt.Sprintf("number %d answers at %v: %s register %d is %d", f.Unit, f.Way, what, f.Register,
		f.Value)
	switch {
	case f.Garbled != "":
		return fmt.Sprintf("number %d: something answers at %v that makes no sense (%s): two devices of one number, or another framing", f.Unit, f.Way, f.Garbled)
	case f.Refused != "":
		text = fmt.Sprintf("number %d answers at %v and refuses %s register %d: %s", f.Unit, f.Way, what,
			f.Register, f.Refused)
	}
	if f.Way != set {
		text += fmt.Sprintf(" (the bus was looked at with %v: one speed and framing for all of it)", set)
	}
	return text
}

// willAsk says all that the search may send.
func willAsk(s source.BusSearch, known bool) string {
	first, last := s.Ask[0].Unit, s.Ask[len(s.Ask)-1].Unit
	text := fmt.Sprintf("To numbers %d to %d on %s at %v: one reading of a register each (", first, last,
		s.Port, s.Ways[0])
	asked := map[string]bool{}
	var all []string
	for _, b := range s.Ask {
		if one := fmt.Sprintf("function %02d, register %d", b.Function, b.Register); !asked[one] {
			asked[one] = true
			all = append(all, one)
		}
	}
	text += strings.Join(all, "; ") + "), asked twice at most."
	if len(s.Ways) > 1 {
		who := "number 1, if nobody answers,"
		if known {
			who = "those of the settings that do not answer"
		}
		text += fmt.Sprintf(" Then to %s the same at %d other speeds and framings.", who, len(s.Ways)-1)
	}
	return text + " Nothing else is sent."
}

// busSearch is what is looked for on a line: one of the settings by the kiln's name or the port, or a port
// that no settings name; known reports that the settings have kilns on it.
func busSearch(c *cobra.Command, cfg config.Config, on string) (s source.BusSearch, known bool, err error) {
	s.Port = on
	for _, k := range cfg.Kilns {
		if string(k.ID) == on {
			s.Port = k.Port
		}
	}
	if s.Port == "" || s.Port == on && !strings.HasPrefix(on, "/") {
		return s, false, misused(fmt.Errorf("--bus needs the line: a kiln of the settings that has one, or a device such as /dev/serial/by-id/usb-YOUR_ADAPTER-if00-port0; %q is neither", on))
	}
	standard := source.BusSlave{Unit: 1, Function: 3}
	registers := map[int]source.BusSlave{}
	s.Ways = source.BusWays()
	for _, k := range cfg.Kilns {
		if k.Port != s.Port {
			continue
		}
		if k.Reply != "modbus" {
			return s, false, misused(fmt.Errorf("%s speaks no Modbus by the settings (reply = %q): nothing is asked there", k.ID, k.Reply))
		}
		set := source.BusWay{Speed: k.Speed, Framing: k.Framing}
		s.Ways = append([]source.BusWay{set},
			slices.DeleteFunc(source.BusWays(), func(w source.BusWay) bool { return w == set })...)
		for _, ch := range k.Channels {
			if _, has := registers[ch.UnitID]; !has {
				registers[ch.UnitID] = source.BusSlave{Unit: ch.UnitID, Function: ch.Function,
					Register: ch.Register}
				s.Want = append(s.Want, ch.UnitID)
				standard = source.BusSlave{Function: ch.Function, Register: ch.Register}
			}
		}
	}
	known = len(s.Want) > 0
	text, _ := c.Flags().GetString("numbers")
	first, last, err := numbersOf(text)
	if err != nil {
		return s, false, misused(err)
	}
	for unit := 1; unit <= 247; unit++ {
		one, has := registers[unit]
		if !has && (unit < first || unit > last) {
			continue
		}
		if !has {
			one = standard
			one.Unit = unit
		}
		s.Ask = append(s.Ask, one)
	}
	if !known {
		s.Want = []int{s.Ask[0].Unit}
	}
	return s, known, nil
}

// numbersOf reads numbers of slaves: 1-32, or one.
func numbersOf(text string) (first, last int, err error) {
	from, to, ranged := strings.Cut(text, "-")
	if !ranged {
		to = from
	}
	first, err = strconv.Atoi(strings.TrimSpace(from))
	if err == nil {
		last, err = strconv.Atoi(strings.TrimSpace(to))
	}
	if err != nil || first < 1 || last > 247 || first > last {
		return 0, 0, errors.New("--numbers " + text + ": numbers of devices are 1 to 247, as 1-32 or 17")
	}
	return first, last, nil
}

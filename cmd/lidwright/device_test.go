package main

import (
	"strings"
	"testing"

	"lidwright/config"
)

// A port that the service would be refused is told by check, and by setup before it is written, with the way
// out.
func TestServiceShut(t *testing.T) {
	for _, c := range []struct {
		file, port, says string
	}{
		{installed, "/dev/ttyUSB0", ""},
		{installed, "/dev/ttyS0", ""},
		{installed, "/dev/serial/by-id/usb-adapter-if00-port0", ""},
		{installed, "", ""},
		{installed, "/dev/ttyGS0", "DeviceAllow=/dev/ttyGS0 rw"},
		{installed, "/dev/ttyS7", "DeviceAllow=/dev/ttyS7 rw"},
		{"lidwright.toml", "/dev/ttyGS0", ""},
	} {
		got := serviceShut(c.file, c.port)
		if (got == "") != (c.says == "") || !strings.Contains(got, c.says) {
			t.Errorf("%s in %s: %q, want %q", c.port, c.file, got, c.says)
		}
		var r checked
		r.settings(config.Config{File: c.file, Kilns: []config.Kiln{{ID: "big-blue", Port: c.port}}})
		told := ""
		for _, f := range r.Findings {
			if f.About == "port" && !f.Good {
				told = f.Says
			}
		}
		if told != got {
			t.Errorf("check tells %q of %s in %s, want %q", told, c.port, c.file, got)
		}
		var out strings.Builder
		s := &setup{file: c.file, out: &out}
		s.warnOfService(c.port)
		if (got != "") != strings.Contains(out.String(), "LOOK") || !strings.Contains(out.String(), got) {
			t.Errorf("setup tells %q of %s in %s, want %q", out.String(), c.port, c.file, got)
		}
	}
}

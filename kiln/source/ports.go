package source

import (
	"io/fs"
	"path"
	"slices"
	"strings"
)

// FoundPort is a serial device of this machine.
type FoundPort struct {
	Name   string // the lasting link, as settings should have it; else the device itself
	Device string // such as ttyUSB0
	Lasts  bool   // the name stays with the adapter, or with its socket
}

// ServiceDevices are the devices that the packaged service may open, in the words of DeviceAllow of its unit
// (systemd.resource-control(5)): adapters at USB, serial ports on the board's pins and on boards that sit on
// them, and the first four ports of a PC, by path since their group of devices has the consoles in it.
var ServiceDevices = []string{"char-ttyUSB", "char-ttyACM", "char-ttyAMA", "char-ttySC",
	"/dev/ttyS0", "/dev/ttyS1", "/dev/ttyS2", "/dev/ttyS3"}

// ServiceMayOpen reports whether the packaged service may open a device such as /dev/ttyUSB0.
func ServiceMayOpen(device string) bool {
	for _, d := range ServiceDevices {
		kind, group := strings.CutPrefix(d, "char-")
		number, fits := strings.CutPrefix(device, "/dev/"+kind)
		if d == device || group && fits && number != "" && strings.Trim(number, "0123456789") == "" {
			return true
		}
	}
	return false
}

// Ports lists the serial devices under dev, which is /dev but in tests: those with a link that tells
// the adapter first, then those with a link that tells the socket, then the rest. Nothing is opened:
// opening a line can restart a board.
func Ports(dev fs.FS) []FoundPort {
	var out []FoundPort
	seen := map[string]bool{}
	links := func(folder string) {
		entries, _ := fs.ReadDir(dev, folder) // no such folder: no adapter
		for _, e := range entries {
			name := path.Join(folder, e.Name())
			to, err := fs.ReadLink(dev, name)
			device := path.Base(to)
			if err != nil || seen[device] {
				continue
			}
			seen[device] = true
			out = append(out, FoundPort{Name: "/dev/" + name, Device: device, Lasts: true})
		}
	}
	links("serial/by-id")
	links("serial/by-path")
	entries, _ := fs.ReadDir(dev, ".")
	for _, e := range entries {
		usb := strings.HasPrefix(e.Name(), "ttyUSB") || strings.HasPrefix(e.Name(), "ttyACM")
		fixed := strings.HasPrefix(e.Name(), "ttyAMA") || strings.HasPrefix(e.Name(),
			"ttySC") // the pins of the board
		if (usb || fixed) && !seen[e.Name()] {
			out = append(out, FoundPort{Name: "/dev/" + e.Name(), Device: e.Name(), Lasts: fixed})
		}
	}
	slices.SortStableFunc(out, func(a, b FoundPort) int {
		if a.Lasts == b.Lasts {
			return 0
		}
		if a.Lasts {
			return -1
		}
		return 1
	})
	return out
}

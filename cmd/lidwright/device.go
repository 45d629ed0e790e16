package main

import (
	"fmt"
	"path/filepath"

	"lidwright/kiln/source"
)

// serviceShut says that the packaged service may not open the port of settings that it runs with, and how it
// may; empty where it may, and for settings that it does not run with.
func serviceShut(file, port string) string {
	if file != installed || port == "" {
		return ""
	}
	device := port
	if real, err := filepath.EvalSymlinks(port); err == nil {
		device = real
	}
	// a link whose adapter is not plugged in
	if source.ServiceMayOpen(device) || filepath.Dir(filepath.Dir(device)) == "/dev/serial" {
		return ""
	}
	return fmt.Sprintf("the service may open ttyUSB, ttyACM, ttyAMA, ttySC and ttyS0 to ttyS3, and %s is none of them. To let it: sudo systemctl edit lidwright, and there the lines [Service] and DeviceAllow=%s rw; without them the kiln is not heard", device, device)
}

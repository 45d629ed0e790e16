package daemon

import (
	"fmt"
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"lidwright/kiln"
)

// Clock reads the machine's two clocks: the one that counts since the start of the machine,
// and the one on the wall with whether it may be believed.
type Clock struct {
	boot kiln.BootID
}

// NewClock reads which running of the machine this is.
func NewClock() (*Clock, error) {
	b, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return nil, fmt.Errorf("read the boot id: %w", err)
	}
	return &Clock{boot: kiln.BootID(strings.TrimSpace(string(b)))}, nil
}

// Now is this moment by both clocks.
func (c *Clock) Now() kiln.Stamp {
	var ts unix.Timespec
	var since time.Duration
	if unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts) == nil {
		since = time.Duration(ts.Nano())
	}
	return kiln.Stamp{Boot: c.boot, Since: since, Wall: time.Now().UTC(), Trusted: synchronised()}
}

// synchronised reports whether the kernel calls the wall clock synchronised.
func synchronised() bool {
	var tx unix.Timex
	_, err := unix.Adjtimex(&tx)
	return err == nil && tx.Status&unix.STA_UNSYNC == 0
}

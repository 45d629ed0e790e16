package kiln

import "time"

// BootID names one running of the machine: another after every start of it.
type BootID string

// Stamp says when something happened, by the two clocks that a small computer has. Only
// Since is reckoned with: durations, rates and heat work come from it alone, so that
// setting the clock on the wall bends nothing.
type Stamp struct {
	Boot    BootID        // stamps of two boots are compared by Wall alone
	Since   time.Duration // since that start, from CLOCK_BOOTTIME
	Wall    time.Time     // what the clock on the wall said, right or wrong; UTC
	Trusted bool          // the kernel called that clock synchronised
}

// Sub is the time from earlier to s. Within one boot it is exact. Across a restart of the
// machine it is the difference of the wall clocks, and known only if both were trusted.
func (s Stamp) Sub(earlier Stamp) (d time.Duration, known bool) {
	if s.Boot == earlier.Boot {
		return s.Since - earlier.Since, true
	}
	return s.Wall.Sub(earlier.Wall), s.Trusted && earlier.Trusted
}

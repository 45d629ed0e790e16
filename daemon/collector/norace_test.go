//go:build !race

package collector

// memoryTimes is how much more memory the program may take than when it is shipped.
const memoryTimes = 1

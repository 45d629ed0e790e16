//go:build !race

package kilntest

// MemoryTimes is how much more memory a program takes in a test than as it is shipped.
const MemoryTimes = 1

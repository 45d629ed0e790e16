//go:build race

package kilntest

// MemoryTimes: the race detector keeps a shadow of all memory, and a program takes five to ten times as much
// (its documentation).
const MemoryTimes = 10

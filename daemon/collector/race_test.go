//go:build race

package collector

// The race detector keeps a shadow of all memory: a program takes five to ten times as much (its documentation).
const memoryTimes = 10

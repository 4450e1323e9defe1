//go:build race

package influx

// boats at once: the race detector makes everything ten times slower.
const boats = 3

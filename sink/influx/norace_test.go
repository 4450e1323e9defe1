//go:build !race

package influx

const boats = 20

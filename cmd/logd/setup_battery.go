package main

import (
	"fmt"
	"math"
	"slices"

	"trialday.example/logd/calc/energy"
	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/pgn"
)

// proposedBattery is a battery as it was heard.
type proposedBattery struct {
	Instance int
	Volts    float64 // NaN where it is out of range
}

func (b proposedBattery) String() string {
	if math.IsNaN(b.Volts) {
		return fmt.Sprintf("%d, voltage out of range of PGN 127508", b.Instance)
	}
	return fmt.Sprintf("%d, %.1f V", b.Instance, b.Volts)
}

// batteries tells those that drive the boat from the others by their voltage.
func (p *proposal) batteries(h *hearing) {
	list := h.batteries
	slices.SortFunc(list, func(a, b energy.Battery) int { return int(a.Instance) - int(b.Instance) })
	drive := map[uint8]bool{}
	for _, b := range day.DriveBatteries(list) {
		drive[b.Instance] = true
	}
	for _, b := range list {
		to := &p.House
		if drive[b.Instance] {
			to = &p.Drive
		}
		if b.Volts > 0 || drive[b.Instance] {
			*to = append(*to, proposedBattery{int(b.Instance), b.Volts})
		}
	}
	p.NoFuel = len(p.Drive) > 0 && p.Tank == "" && !h.survey.Has(pgn.FuelRate)
}

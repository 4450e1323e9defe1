package day

import (
	"fmt"
	"strings"

	"trialday.example/logd/decode"
	"trialday.example/logd/decode/choose"
	"trialday.example/logd/sink/results"
)

// engineBus tells of the engines on a bus of their own whose positions are a
// guess: those taken in order of address, and those that no other bus knows.
func (d *document) engineBus(names []string) []results.Finding {
	latest := map[uint16]*decode.Event{}
	senders := []uint16{} // in order of their first event
	for i := range d.Events {
		e := &d.Events[i]
		if e.Kind != decode.EngineBus {
			continue
		}
		if latest[e.To] == nil {
			senders = append(senders, e.To)
		}
		latest[e.To] = e
	}
	var ordered, apart []string
	for _, source := range senders {
		e := latest[source]
		text := fmt.Sprintf("%s from address %d", engineName(names, e.Instance), e.Sent)
		switch e.Why {
		case choose.AddressOrder:
			ordered = append(ordered, text)
		case choose.OtherRPM:
			apart = append(apart, text)
		}
	}
	var out []results.Finding
	add := func(kind, what string, which []string, meaning string) {
		out = append(out, results.Finding{
			Kind: kind, Sure: "certain", What: what + ": " + strings.Join(which, ", "), Meaning: meaning,
			Remedy: "shift or rev one engine at a time to see which is which, and set engines[].bus and engines[].address in the configuration",
		})
	}
	if len(ordered) > 1 {
		add("engine_bus_order", "engines on their own bus were put from port to starboard in order of source address", ordered,
			"which of them is port and which starboard is a guess; figures of all engines together do not hang on it")
	}
	if len(apart) > 0 {
		add("engine_bus_apart", "on the engines' own bus there are engines whose rpm is that of none on the boat's bus", apart,
			"they are counted as engines of their own, and their positions are a guess")
	}
	return out
}

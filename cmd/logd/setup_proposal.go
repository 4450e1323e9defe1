package main

import (
	"bytes"
	_ "embed"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"text/template"

	"trialday.example/logd/cmd/logd/aboard"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/choose"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/results"
)

//go:embed setup.yaml.tmpl
var setupText string

var setupTemplate = template.Must(template.New("setup").Funcs(template.FuncMap{
	"quote": strconv.Quote, "example": configs.ExampleSection,
}).Parse(setupText))

// proposal is what setup writes. Empty text is not known.
type proposal struct {
	Heard      string // from where and for how long
	Length     string
	DryMass    string
	Tank, Fuel string // L
	Engines    []proposedEngine
	Drive      []proposedBattery // batteries whose voltage is that of one that drives a boat
	House      []proposedBattery // the others
	Usable     string            // kWh of those in Drive
	NoFuel     bool              // neither a fuel rate nor a fuel tank was heard, but Drive
	Sources    []proposedSource
	Interfaces []string
	Journal    string
}

// proposedEngine is an engine as it was heard, port to starboard by instance.
type proposedEngine struct {
	Name     string
	Instance int
	Source   string // NAME, where another has the same instance
	Bus      string // the engines' own, and its address there; "" where it was not heard there
	Address  int
	Note     string
}

// proposedSource is a group of quantities and the device that gives it.
type proposedSource struct {
	Key  string
	Name string // NAME, or interface/address; "" where nothing was heard
	Note string
}

// sourceKeys are the groups that the configuration knows.
var sourceKeys = []choose.Group{
	choose.Position, choose.Motion, choose.Heading, choose.Attitude, choose.RateOfTurn, choose.WaterSpeed, choose.Depth, choose.Wind,
}

func propose(h *hearing) *proposal {
	p := &proposal{Heard: fmt.Sprintf("%.0f s on %s", h.seconds, strings.Join(h.names, ", "))}
	for _, name := range h.names {
		// A capture may call its bus what no interface can be called.
		check := fmt.Sprintf("bus: {interfaces: [%s]}", strconv.Quote(name))
		if _, err := configs.Parse(strings.NewReader(check), name); err == nil {
			p.Interfaces = append(p.Interfaces, name)
		}
	}
	if len(p.Interfaces) == 0 {
		p.Interfaces = configs.Default().Bus.Interfaces
	}
	p.engines(h)
	p.sources(h)
	p.tanks(h)
	p.batteries(h)
	return p
}

// engines takes over the engines' instances, and their devices' NAMEs where two
// share one.
func (p *proposal) engines(h *hearing) {
	senders := map[int]aboard.Value{}
	for _, v := range h.survey.Values() {
		if v.Quantity == pgn.EngineSpeed {
			if at := int(v.Instance); senders[at].Rate <= v.Rate {
				senders[at] = v
			}
		}
	}
	var heard []int
	for at := range senders {
		heard = append(heard, at)
	}
	slices.Sort(heard)
	names := configs.EngineNames(len(heard))
	count := map[int]int{}
	for i, at := range heard {
		v := senders[at]
		e := proposedEngine{Name: names[i], Instance: at, Note: fmt.Sprintf("heard from %s, %s", h.device(v.Source), rate(v))}
		if list := h.found.Vessel.Engines; at < len(list) {
			e.Instance = list[at].Instance
		}
		if use := h.ownBus(at); use != nil {
			if d := h.found.Devices[use.Device]; slices.Contains(p.Interfaces, d.Bus) {
				e.Bus, e.Address = d.Bus, d.Addresses[len(d.Addresses)-1]
			}
			e.Note += "; on the engines' own bus: " + use.Why
		}
		count[e.Instance]++
		p.Engines = append(p.Engines, e)
	}
	for i := range p.Engines {
		e := &p.Engines[i]
		if count[e.Instance] < 2 {
			continue
		}
		d := h.survey.Devices()[senders[heard[i]].Source]
		if d.Named {
			e.Source = d.Name.String()
		}
		e.Note += "; shares its instance: say which is port"
	}
	p.separate()
}

// ownBus tells from which device on the engines' own bus an engine, by index,
// was heard and why that is thought; nil for none.
func (h *hearing) ownBus(at int) (last *results.SourceUse) {
	if at >= len(h.found.Vessel.Engines) {
		return nil
	}
	for i := range h.found.Sources {
		use := &h.found.Sources[i]
		if use.Quantity == "engine "+h.found.Vessel.Engines[at].Name &&
			use.Device < len(h.found.Devices) && len(h.found.Devices[use.Device].Addresses) > 0 {
			last = use
		}
	}
	return last
}

// separate drops engines that nothing tells apart from one before.
func (p *proposal) separate() {
	var kept []proposedEngine
	for _, e := range p.Engines {
		if !slices.ContainsFunc(kept, func(k proposedEngine) bool {
			return k.Instance == e.Instance && (k.Source == "" || e.Source == "" || k.Source == e.Source)
		}) {
			kept = append(kept, e)
		}
	}
	p.Engines = kept
}

func (p *proposal) sources(h *hearing) {
	devices := h.survey.Devices()
	for _, g := range sourceKeys {
		s := proposedSource{Key: g.String(), Note: "not heard"}
		for _, use := range h.found.Sources { // the last one holds
			if use.Quantity != g.String() || use.Device >= len(devices) {
				continue
			}
			d := devices[use.Device]
			s.Name = h.device(uint16(use.Device))
			s.Note = s.Name
			if d.Named {
				s.Name = d.Name.String()
			}
			if d.Model != "" {
				s.Note = d.Model + ", " + s.Note
			}
		}
		s.Note = oneLine(s.Note)
		p.Sources = append(p.Sources, s)
	}
}

// oneLine keeps what a device says of itself inside a comment.
func oneLine(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == 0x85 || r == 0x2028 || r == 0x2029 {
			return ' '
		}
		return r
	}, text)
}

// tanks adds up the fuel tanks that send a capacity.
func (p *proposal) tanks(h *hearing) {
	size, fuel := 0.0, 0.0
	for _, t := range h.day.Evidence(0).Burn.Tanks {
		size += t.Capacity * 1000
		fuel += t.Capacity * t.Latest * 1000
	}
	if size >= 1 {
		p.Tank = strconv.FormatFloat(math.Round(size), 'f', -1, 64)
		p.Fuel = strconv.FormatFloat(math.Round(fuel), 'f', -1, 64)
	}
}

// told says what was heard.
func (p *proposal) told(w io.Writer) {
	fmt.Fprintf(w, "heard %s: %d engines\n", p.Heard, len(p.Engines))
	for _, e := range p.Engines {
		fmt.Fprintf(w, "  %s: instance %d, %s\n", e.Name, e.Instance, e.Note)
	}
	for _, s := range p.Sources {
		fmt.Fprintf(w, "  %s: %s\n", strings.ReplaceAll(s.Key, "_", " "), s.Note)
	}
	if p.Tank != "" {
		fmt.Fprintf(w, "  fuel tanks: %s L, %s L in them by their level\n", p.Tank, p.Fuel)
	} else {
		fmt.Fprintln(w, "  fuel tanks: no capacity heard (PGN 127505)")
	}
	for _, b := range p.Drive {
		fmt.Fprintf(w, "  battery %s: taken for one that drives the boat\n", b)
	}
	for _, b := range p.House {
		fmt.Fprintf(w, "  battery %s: taken for one of lights and starters\n", b)
	}
	if p.NoFuel {
		fmt.Fprintln(w, "  no fuel rate and no fuel tank: taken for a boat that burns nothing")
	}
	if len(p.Engines) == 0 {
		fmt.Fprintln(w, "no engine was heard: start the engines and set up again, or write engines by hand")
	}
}

// JournalSection is that of the example with the folder asked for.
func (p *proposal) JournalSection() string {
	return strings.Replace(configs.ExampleSection("journal"), "dir: journal", "dir: "+strconv.Quote(p.Journal), 1)
}

func (p *proposal) yaml() []byte {
	var out bytes.Buffer
	if err := setupTemplate.Execute(&out, p); err != nil {
		panic(err) // the template is ours and its data plain
	}
	return out.Bytes()
}

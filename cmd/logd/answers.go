package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"golang.org/x/sys/unix"

	"trialday.example/logd/cmd/logd/aboard"
	"trialday.example/logd/cmd/logd/day"
	"trialday.example/logd/configs"
	"trialday.example/logd/decode/socketcan"
	"trialday.example/logd/pgn"
	"trialday.example/logd/sink/influx"
)

// This file is the page that check prints.

func (h *hearing) print(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	h.printBuses(w)
	h.printDevices(w)
	h.printQuantities(w)
	h.printFigures(w)
	h.printFindings(w)
	h.printClock(w)
	h.printDisk(w)
	if h.live {
		printLogger(w, h.cfg.Page.Listen)
	}
	fmt.Fprintln(w, "INFLUXDB\t"+asked(h.cfg.Influx, h.now))
	return w.Flush()
}

func (h *hearing) printBuses(w io.Writer) {
	for i, name := range h.names {
		b, link := &h.buses[i], socketcan.Link{Name: name}
		if h.live {
			link = socketcan.Look(name)
		}
		fmt.Fprintf(w, "BUS %s\t%s\n", name, strings.Join(h.busWords(b, link), ", "))
		for _, advice := range []string{link.Trouble(), link.MaySend()} {
			if advice != "" {
				fmt.Fprintf(w, "\t! %s\n", advice)
			}
		}
		if b.lastError != "" {
			fmt.Fprintf(w, "\t! %d error frames, the last: %s\n", b.errors, b.lastError)
		}
		if h.live && b.frames == 0 && link.Trouble() == "" {
			fmt.Fprintf(w, "\t! silent: check that the network has power and that the plug is in\n")
		}
	}
	if h.dropped > 0 {
		fmt.Fprintf(w, "\t! the kernel dropped %d frames: the machine is too busy, or net.core.rmem_max too small\n", h.dropped)
	}
	for _, t := range h.trouble {
		fmt.Fprintf(w, "\t! %s\n", t)
	}
}

func (h *hearing) busWords(b *busCount, link socketcan.Link) []string {
	var words []string
	if h.live {
		words = append(words, string(link.State))
		switch {
		case link.Bitrate > 0:
			words = append(words, fmt.Sprintf("%g kbit/s", float64(link.Bitrate)/1000))
		case link.Virtual():
			words = append(words, "virtual, no bit rate")
		}
		if link.ListenOnly {
			words = append(words, "listen-only")
		}
	}
	if h.seconds > 0 {
		words = append(words, fmt.Sprintf("%.0f frames/s, load %.0f %%", float64(b.frames)/h.seconds,
			100*float64(b.bits)/h.seconds/socketcan.Bitrate))
	}
	return append(words, fmt.Sprintf("%d error frames", b.errors))
}

// maxDevices keeps the page a page.
const maxDevices = 30

func (h *hearing) printDevices(w io.Writer) {
	devices := h.survey.Devices()
	fmt.Fprintf(w, "DEVICES\t%d heard\n", len(devices))
	for i, d := range devices {
		if i == maxDevices {
			fmt.Fprintf(w, "\tand %d more\n", len(devices)-i)
			break
		}
		name := "not claimed while listening"
		if d.Named {
			name = d.Name.String()
		}
		model := d.Model
		if model == "" {
			model = "model not told while listening"
		}
		fmt.Fprintf(w, "\t%s\tNAME %s\t%s\n", h.device(uint16(i)), name, model)
	}
}

// device is interface and address.
func (h *hearing) device(index uint16) string {
	devices := h.survey.Devices()
	if int(index) >= len(devices) {
		return "?"
	}
	d := devices[index]
	name := "?"
	if int(d.Bus) < len(h.names) {
		name = h.names[d.Bus]
	}
	return fmt.Sprintf("%s/%d", name, d.Address())
}

// printQuantities lists the quantities, those together that come from the same
// devices at the same rate.
func (h *hearing) printQuantities(w io.Writer) {
	lines := h.quantityLines()
	if len(lines) == 0 {
		fmt.Fprintln(w, "QUANTITIES\tnone")
		return
	}
	fmt.Fprintln(w, "QUANTITIES\trate, from, what (and of which engines or instances)")
	for _, l := range lines {
		head := l.rate + "\t" + l.from
		for _, part := range wrap(l.names, 70) {
			fmt.Fprintf(w, "\t%s\t%s\n", head, part)
			head = "\t"
		}
	}
}

// quantityLine is quantities that come alike.
type quantityLine struct {
	rate, from string
	names      []string
}

func (h *hearing) quantityLines() []*quantityLine {
	type set struct{ rates, instances, from []string }
	sets := make(map[pgn.Quantity]*set)
	var order []pgn.Quantity
	for _, v := range h.survey.Values() {
		s := sets[v.Quantity]
		if s == nil {
			s = new(set)
			sets[v.Quantity], order = s, append(order, v.Quantity)
		}
		s.rates = appendNew(s.rates, rate(v))
		s.instances = appendNew(s.instances, fmt.Sprint(v.Instance))
		s.from = appendNew(s.from, h.device(v.Source))
	}
	var lines []*quantityLine
	at := make(map[string]*quantityLine)
	for _, q := range order {
		s := sets[q]
		rates, from := strings.Join(s.rates, ", "), strings.Join(s.from, ", ")
		l := at[rates+"|"+from]
		if l == nil {
			l = &quantityLine{rate: rates, from: from}
			at[rates+"|"+from], lines = l, append(lines, l)
		}
		name := strings.ReplaceAll(q.String(), "_", " ")
		if len(s.instances) > 1 {
			name += fmt.Sprintf(" (%s)", strings.Join(s.instances, " "))
		}
		l.names = append(l.names, name)
	}
	return lines
}

func rate(v aboard.Value) string {
	switch {
	case v.Rate == 0:
		return "no value"
	case v.Rate < 0.05:
		return "rarely"
	}
	return fmt.Sprintf("%.1f/s", v.Rate)
}

func appendNew(list []string, s string) []string {
	if slices.Contains(list, s) {
		return list
	}
	return append(list, s)
}

// wrap joins words with commas to lines of about a width.
func wrap(words []string, width int) []string {
	var lines []string
	line := ""
	for i, word := range words {
		if i < len(words)-1 {
			word += ", "
		}
		if line != "" && len(line)+len(word) > width {
			lines, line = append(lines, strings.TrimSuffix(line, " ")), ""
		}
		line += word
	}
	return append(lines, line)
}

// figure is one that a trial can give, and what it takes.
type figure struct {
	name string
	from []source
	keys []key
}

type source struct {
	quantity pgn.Quantity
	pgn      uint32
	name     string
	hint     string
	instead  pgn.Quantity // from which it is derived; None for nothing
	of       []int        // batteries that must all give it; nil for any
}

// ways names the messages that give it.
func (s *source) ways() string {
	if ways := s.quantity.Ways(); ways != "" {
		return ways
	}
	return fmt.Sprintf("PGN %d", s.pgn)
}

type key struct {
	given bool
	words string
}

var (
	fromSpeed    = source{pgn.SpeedOverGround, 129026, "speed over ground", "from a satellite receiver", pgn.Latitude, nil}
	fromRPM      = source{pgn.EngineSpeed, 127488, "engine speed", "are the engines switched on?", pgn.None, nil}
	fromBurn     = source{pgn.FuelRate, 127489, "fuel rate", "are the engines running?", pgn.None, nil}
	fromLoad     = source{pgn.EngineLoad, 127489, "engine load", "are the engines running?", pgn.None, nil}
	fromHeading  = source{pgn.Heading, 127250, "true heading", "where it is magnetic, with variation", pgn.None, nil}
	fromThrough  = source{pgn.SpeedThroughWater, 128259, "speed through water", "from a paddle wheel or the like", pgn.None, nil}
	fromVoltage  = source{pgn.BatteryVoltage, 127508, "battery voltage", "from a battery monitor", pgn.None, nil}
	fromCurrent  = source{pgn.BatteryCurrent, 127508, "battery current", "from a battery monitor with a current sensor", pgn.None, nil}
	fromCharge   = source{pgn.StateOfCharge, 127506, "state of charge", "from a battery monitor", pgn.None, nil}
	fromAttitude = source{pgn.Pitch, 127257, "pitch", "from an attitude sensor", pgn.None, nil}
)

func figures(c *configs.Config) []figure {
	mass := c.Vessel.DryMassKg != nil && c.Load.FuelL != nil
	return slices.Concat([]figure{
		{name: "speed", from: []source{fromSpeed}},
		{name: "rpm steps", from: []source{fromSpeed, fromRPM}},
	}, burnFigures(c), energyFigures(c), []figure{
		{name: fmt.Sprintf("cruise at %g %% load", c.Fuel.CruiseLoadPct),
			from: []source{fromSpeed, fromRPM, fromLoad}},
		{name: "current from headings", from: []source{fromSpeed, fromHeading}},
		{name: "speed through water", from: []source{fromThrough}},
		{name: "trim angle", from: []source{fromAttitude}},
		{name: "test weight", keys: []key{{mass, "vessel.dry_mass_kg and load.fuel_l"}}},
		{name: "figures in boat lengths", keys: []key{{c.Vessel.LengthM != nil, "vessel.length_m"}}},
	})
}

// burnFigures are those of fuel; none where the boat burns nothing.
func burnFigures(c *configs.Config) []figure {
	if c.Fuel.Kind == "none" {
		return nil
	}
	return []figure{
		{name: "fuel burn", from: []source{fromRPM, fromBurn}},
		{name: "economy", from: []source{fromSpeed, fromRPM, fromBurn}},
		{name: "range", from: []source{fromSpeed, fromRPM, fromBurn}, keys: []key{{c.Fuel.TankL != nil, "fuel.tank_l"}}},
	}
}

// energyFigures are those of batteries that drive the boat; none where none does.
func energyFigures(c *configs.Config) []figure {
	if c.Fuel.Kind != "none" && len(c.Battery.Instances) == 0 {
		return nil
	}
	of := func(s source) source { s.of = c.Battery.Instances; return s }
	from := []source{fromSpeed, fromRPM, of(fromVoltage), of(fromCurrent)}
	driving := key{len(c.Battery.Instances) > 0, "battery.instances"}
	return []figure{
		{name: "energy per mile", from: from, keys: []key{driving}},
		{name: "range on batteries", from: from, keys: []key{driving, {c.Battery.UsableKWh != nil, "battery.usable_kwh"}}},
		{name: "state of charge", from: []source{of(fromCharge)}},
	}
}

func (h *hearing) printFigures(w io.Writer) {
	fmt.Fprintln(w, "FIGURES\tof a trial as things stand")
	for _, f := range figures(h.cfg) {
		if why := h.lacks(f); why != "" {
			fmt.Fprintf(w, "\tno\t%s: %s\n", f.name, why)
			continue
		}
		fmt.Fprintf(w, "\tyes\t%s\n", f.name)
	}
}

// given reports whether a quantity is heard with a value, from all that must give
// it.
func (h *hearing) given(s *source) bool {
	if len(s.of) > 0 {
		return day.BatteryLacks(h.batteries, s.of, s.quantity) == ""
	}
	return h.survey.Has(s.quantity)
}

// lacks says why a figure will not be possible; "" if it will.
func (h *hearing) lacks(f figure) string {
	var why []string
	for _, s := range f.from {
		if h.given(&s) || s.instead != pgn.None && h.survey.Has(s.instead) {
			continue
		}
		words := "no %s heard (%s: %s)"
		switch {
		case len(s.of) > 0:
			why = append(why, day.BatteryLacks(h.batteries, s.of, s.quantity))
			continue
		case h.survey.Heard(s.pgn):
			words = "%s is sent without a value (%s: %s)"
		}
		why = append(why, fmt.Sprintf(words, s.name, s.ways(), s.hint))
	}
	for _, k := range f.keys {
		if !k.given {
			why = append(why, k.words+" not configured")
		}
	}
	return strings.Join(why, "; ")
}

// lineWidth keeps what is told in sentences readable.
const lineWidth = 90

// printFindings tells what is wrong with the installation.
func (h *hearing) printFindings(w io.Writer) {
	if len(h.found.Findings) == 0 {
		fmt.Fprintln(w, "FINDINGS\tnone in what was heard")
	} else {
		fmt.Fprintf(w, "FINDINGS\t%d in what was heard\n", len(h.found.Findings))
	}
	for _, f := range h.found.Findings {
		mark := "!"
		for _, part := range []string{f.What, "means: " + f.Meaning, "do: " + f.Remedy, "how sure: " + f.Sure} {
			for _, line := range wrapText(part, lineWidth) {
				fmt.Fprintf(w, "\t%s %s\n", mark, line)
				mark = " "
			}
		}
	}
	if s := h.found.Vessel.EngineSides; s != "" {
		for i, line := range wrapText(s, lineWidth) {
			head := ""
			if i == 0 {
				head = "ENGINE SIDES"
			}
			fmt.Fprintf(w, "%s\t%s\n", head, line)
		}
	}
}

// wrapText breaks a sentence at its spaces.
func wrapText(text string, width int) []string {
	var lines []string
	line := ""
	for word := range strings.FieldsSeq(text) {
		if line != "" && len(line)+1+len(word) > width {
			lines, line = append(lines, line), ""
		}
		line = strings.TrimSpace(line + " " + word)
	}
	return append(lines, line)
}

func (h *hearing) printClock(w io.Writer) {
	c := h.survey.Clock()
	if !c.Known {
		fmt.Fprintln(w, "CLOCK\tno satellite time heard: times of day will be the recorder's own; figures are not affected")
		return
	}
	way := "slow"
	if c.Offset < 0 {
		way = "fast"
	}
	fmt.Fprintf(w, "CLOCK\tsatellite time heard; the recorder's clock is %.1f s %s, which is taken out\n", math.Abs(c.Offset), way)
	if c.Steps > 0 {
		fmt.Fprintf(w, "\tthe recorder's clock jumped %d times, which is taken out\n", c.Steps)
	}
}

func (h *hearing) printDisk(w io.Writer) {
	dir := existing(h.cfg.Journal.Dir)
	free, err := aboard.FreeFor(dir, h.cfg.Journal.KeepFreeMB)
	if err != nil {
		fmt.Fprintf(w, "DISK\t! %v\n", err)
		return
	}
	words := fmt.Sprintf("%s: room for %d MB", dir, free>>20)
	if rate, ok := h.size.rate(); ok && rate > 0 {
		words += fmt.Sprintf(", %.0f hours at %.1f MB an hour", float64(free)/rate/3600, rate*3600/1e6)
	}
	fmt.Fprintf(w, "DISK\t%s\n", words)
	if unix.Access(dir, unix.W_OK) != nil {
		fmt.Fprintf(w, "\t! this user cannot write to %s\n", dir)
	}
}

// existing is the nearest directory above one that may not be there yet.
func existing(dir string) string {
	for {
		if st, err := os.Stat(dir); err == nil && st.IsDir() || dir == filepath.Dir(dir) {
			return dir
		}
		dir = filepath.Dir(dir)
	}
}

// askFor is how long another program is waited for.
const askFor = 2 * time.Second

// printLogger asks a logger that runs on this machine how it is.
func printLogger(w io.Writer, listen string) {
	_, port, _ := net.SplitHostPort(listen)
	resp, err := (&http.Client{Timeout: askFor}).Get("http://" + net.JoinHostPort("127.0.0.1", port) + "/healthz")
	if err != nil {
		fmt.Fprintln(w, "LOGGER\tnot running here")
		return
	}
	defer resp.Body.Close()
	var health aboard.Health
	if json.NewDecoder(io.LimitReader(resp.Body, 1<<20)).Decode(&health) != nil {
		fmt.Fprintf(w, "LOGGER\t! something else answers at %s: correct page.listen\n", listen)
		return
	}
	state := "running, waits for the first frame"
	switch {
	case !health.Recording:
		state = "running, but NOT RECORDING"
	case health.Trial != "":
		state = fmt.Sprintf("running, records %s, %d frames, %d lost", health.Trial, health.Frames, health.Lost)
	}
	fmt.Fprintf(w, "LOGGER\t%s\n", state)
	for _, p := range health.Problems {
		fmt.Fprintf(w, "\t! %s\n", p)
	}
}

// now is the time, by the receivers where they gave it to this machine's clock.
func (h *hearing) now() time.Time {
	if c := h.survey.Clock(); h.live && c.Known {
		return time.Now().Add(time.Duration(c.Offset * float64(time.Second)))
	}
	return time.Now()
}

// asked says whether the engineers' server answers.
func asked(cfg configs.Influx, now func() time.Time) string {
	if cfg.URL == "" {
		return "not configured"
	}
	ctx, cancel := context.WithTimeout(context.Background(), askFor)
	defer cancel()
	if err := influx.Ping(ctx, cfg, now); err != nil {
		return fmt.Sprintf("! %s does not answer (%v); recording is not affected", cfg.URL, err)
	}
	return cfg.URL + " answers"
}

package installation

const (
	// crowded is the load above which messages come late, and those of low
	// priority perhaps not at all (common practice, no source).
	crowded = 0.8
	// crowdedSpan, s: a shorter rush is no fault.
	crowdedSpan = 5
	// errorPart: more error frames than one in a thousand are a fault of the
	// wiring; so are errorSeconds in which there were several.
	errorPart    = 0.001
	errorSeconds = 10
	severalError = 5
	maxBuses     = 32
)

// Load counts the frames of each bus, second by second.
type Load struct {
	BitRate float64 // bit/s
	buses   [maxBuses]busLoad
}

type busLoad struct {
	second        int64
	bits          int
	errors        int
	frames        int64
	busy          float64 // s above crowded
	highest       float64
	from, to      int64
	errorsAll     int64
	errorsSeconds float64
	errorFrom     int64
	errorTo       int64
}

// Add takes a frame with its length in bits at a trial time.
func (l *Load) Add(now int64, bus uint8, bits int, isError bool) {
	if int(bus) >= maxBuses {
		return
	}
	b := &l.buses[bus]
	if s := now / second; s != b.second {
		b.close(l.BitRate)
		b.second = s
	}
	b.frames++
	b.bits += bits
	if isError {
		b.errors++
		b.errorsAll++
		if b.errorsAll == 1 {
			b.errorFrom = now
		}
		b.errorTo = now
	}
}

func (b *busLoad) close(rate float64) {
	load := float64(b.bits) / rate
	b.highest = max(b.highest, load)
	if load > crowded {
		if b.busy == 0 {
			b.from = b.second * second
		}
		b.busy++
		b.to = (b.second + 1) * second
	}
	if b.errors >= severalError {
		b.errorsSeconds++
	}
	b.bits, b.errors = 0, 0
}

func (l *Load) findings() []Finding {
	var out []Finding
	for i := range l.buses {
		b := &l.buses[i]
		b.close(l.BitRate)
		if b.busy >= crowdedSpan {
			f := Finding{Kind: BusLoad, Bus: uint8(i), Seconds: b.busy, From: b.from, To: b.to, Probability: 1}
			f.Value.Mean = b.highest
			out = append(out, f)
		}
		if float64(b.errorsAll) > errorPart*float64(b.frames) || b.errorsSeconds >= errorSeconds {
			f := Finding{Kind: BusErrors, Bus: uint8(i), N: int(b.errorsAll), Seconds: b.errorsSeconds,
				From: b.errorFrom, To: b.errorTo, Probability: 1}
			f.Value.Mean = float64(b.errorsAll) / float64(b.frames)
			out = append(out, f)
		}
	}
	return out
}

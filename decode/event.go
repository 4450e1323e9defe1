package decode

// EventKind says what an Event is about.
type EventKind uint8

const (
	// SourceChange: the quantities of a group come from another device from
	// Time on.
	SourceChange EventKind = iota
	// Gap: no frame at all came between Time and Until.
	Gap
	// ClockStep: the recorder's clock was found to have jumped at Time and the
	// jump was taken out of trial time.
	ClockStep
	// EngineFound: engine Instance is heard for the first time, from device To.
	EngineFound
)

func (k EventKind) String() string {
	switch k {
	case SourceChange:
		return "source change"
	case Gap:
		return "gap"
	case ClockStep:
		return "clock step"
	}
	return "engine found"
}

// Event is a change that concerns the samples after it. Times are trial time in
// nanoseconds.
type Event struct {
	Time int64
	Kind EventKind
	// Until is the end of a Gap.
	Until int64
}

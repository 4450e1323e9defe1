package decode

import (
	"trialday.example/logd/decode/choose"
	"trialday.example/logd/pgn"
)

// EventKind says what an Event is about.
type EventKind uint8

const (
	// SourceChange: the quantities of Group and Instance come from device To
	// instead of From, from Time on, and Why.
	SourceChange EventKind = iota
	// Gap: no frame at all came between Time and Until.
	Gap
	// ClockStep: the recorder's clock jumped at Time and the jump was taken
	// out of trial time.
	ClockStep
	// EngineFound: engine Instance is heard for the first time, from device
	// To, which calls it Sent.
	EngineFound
	// EngineShared: device To sends engine instance Sent at the same time as
	// device From does; it was taken as one more engine, Instance.
	EngineShared
	// EngineUnlisted: device To sends engine instance Sent, which no
	// configured engine has; it was taken as engine Instance.
	EngineUnlisted
	// EngineBus: the engine that device To, of address Sent, sends on the
	// engines' own bus is engine Instance, and Why that is thought.
	EngineBus
)

func (k EventKind) String() string {
	return [...]string{"source change", "gap", "clock step", "engine found", "engine instance shared", "engine not configured", "engine on the engines' bus"}[k]
}

// Event is a change that concerns the samples after it. Times are trial time in
// nanoseconds. Devices are given by index, choose.None for none.
type Event struct {
	Time int64
	Kind EventKind
	// Until is the end of a Gap.
	Until    int64
	Group    choose.Group
	Quantity pgn.Quantity // of the group, that changes alone; None: all
	Instance uint8        // engine index; of other groups the instance sent
	Sent     uint8        // engine instance sent
	From, To uint16
	Why      choose.Why
}

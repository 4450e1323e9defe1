package results

// Amendment is what a person changed about how windows count. What was found is
// never altered: a window keeps its id, its own accepted and reason.
type Amendment struct {
	ID     int    `json:"id"`   // counts up
	Time   string `json:"time"` // RFC 3339, by the recorder's clock
	Name   string `json:"name"` // of the person
	Reason string `json:"reason"`
	Action string `json:"action"` // exclude, merge, withdraw
	// Windows are those named; withdraw names none.
	Windows   []AmendedWindow `json:"windows"`
	Withdraws *int            `json:"withdraws"` // id of the amendment taken back
	// Applied tells whether the figures hold it. One that was withdrawn later is
	// not applied.
	Applied bool   `json:"applied"`
	Why     string `json:"why"` // where not
}

// AmendedWindow is a window that an amendment names, with the times that it had
// then.
type AmendedWindow struct {
	ID    *int   `json:"id"` // null where there is no such window
	Start string `json:"start"`
	End   string `json:"end"`
}

package assemble

// Counts is what an Assembler delivered and lost.
type Counts struct {
	Single int64 // messages of one frame
	Fast   int64 // messages in the fast-packet protocol
	BAM    int64 // messages in the transport protocol
	// Addressed counts transport frames between two devices, not followed.
	Addressed  int64
	FastPacket Loss
	Transport  Loss
}

// Loss counts each kind of loss in one protocol.
type Loss struct {
	Incomplete int64 // messages: a frame missing, or begun anew before the end
	Stale      int64 // messages: the next frame did not come in time
	NoStart    int64 // messages of which the first frame was not heard
	Evicted    int64 // messages given up to make room
	Malformed  int64 // frames too short, or with an impossible length or PGN
	Orphans    int64 // frames of messages already counted as lost
	Duplicates int64 // frames repeated; nothing is lost with them
}

// Messages is the number of messages known to be lost. What was lost whole
// leaves no trace and cannot be counted.
func (l Loss) Messages() int64 { return l.Incomplete + l.Stale + l.NoStart + l.Evicted + l.Malformed }

// Each calls emit with every kind of loss by a stable name.
func (l Loss) Each(emit func(name string, n int64)) {
	emit("incomplete", l.Incomplete)
	emit("stale", l.Stale)
	emit("no_start", l.NoStart)
	emit("evicted", l.Evicted)
	emit("malformed", l.Malformed)
	emit("orphans", l.Orphans)
	emit("duplicates", l.Duplicates)
}

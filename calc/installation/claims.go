package installation

const (
	// claimPause, ns: claims closer together are one contention, which the
	// devices settle within 250 ms (ISO 11783-5, from memory).
	claimPause = second
	// leastRounds is how often both must have claimed one address again.
	leastRounds = 2
	// maxClaims bounds memory.
	maxClaims = 512
)

// Claims watches address claims. Two devices that want one address settle it at
// once: one of them moves. If both claim it again and again, seconds apart, both
// use it, and a receiver cannot tell their messages apart.
type Claims struct {
	holders map[holder]*claims
}

type holder struct{ bus, address uint8 }

// claims is the history of one address.
type claims struct {
	last   uint64 // NAME
	at     int64
	before map[uint64]int64 // trial time at which each NAME last claimed it
	rounds int
	from   int64
}

// Add takes an address claim (PGN 60928) at a trial time.
func (c *Claims) Add(now int64, bus, address uint8, name uint64) {
	if c.holders == nil {
		c.holders = map[holder]*claims{}
	}
	c.moved(bus, address, name)
	if address >= 254 { // no address
		return
	}
	key := holder{bus, address}
	a := c.holders[key]
	if a == nil {
		if len(c.holders) == maxClaims {
			return
		}
		a = &claims{before: map[uint64]int64{}}
		c.holders[key] = a
	}
	mine, again := a.before[name]
	other, contested := a.before[a.last]
	if again && contested && a.last != name && other-mine >= 0 && now-mine > claimPause {
		if a.rounds++; a.rounds == 1 {
			a.from = now
		}
	}
	if len(a.before) < 16 || again {
		a.before[name] = now
	}
	a.last, a.at = name, now
}

// moved forgets a NAME at its former addresses.
func (c *Claims) moved(bus, address uint8, name uint64) {
	for key, a := range c.holders {
		if key.bus == bus && key.address != address {
			delete(a.before, name)
			if a.last == name {
				a.last = 0
			}
		}
	}
}

func (c *Claims) findings() []Finding {
	var out []Finding
	for bus := range 256 {
		for address := range 254 {
			a := c.holders[holder{uint8(bus), uint8(address)}]
			if a == nil || a.rounds < leastRounds {
				continue
			}
			out = append(out, Finding{Kind: DuplicateAddress, Bus: uint8(bus), Address: uint8(address),
				N: a.rounds, From: a.from, To: a.at, Probability: 1})
		}
	}
	return out
}

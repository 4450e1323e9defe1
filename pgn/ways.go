package pgn

import "fmt"

// Ways names the messages that give a quantity, for people: that of the boat's own
// bus and, where there is one, that of SAE J1939 on a bus of the engines' own. ""
// for a quantity that no field alone gives, as the heading, which hangs on its
// reference.
func (q Quantity) Ways() string {
	var boat, engine uint32
	for i := range table {
		m := &table[i]
		if q == None || m.Step(q) == 0 {
			continue
		}
		if m.Ranges == TopBytes && engine == 0 {
			engine = m.PGN
		}
		if m.Ranges != TopBytes && boat == 0 {
			boat = m.PGN
		}
	}
	switch {
	case boat == 0 && engine == 0:
		return ""
	case engine == 0:
		return fmt.Sprintf("PGN %d", boat)
	case boat == 0:
		return fmt.Sprintf("PGN %d on the engines' own bus", engine)
	}
	return fmt.Sprintf("PGN %d, or %d on the engines' own bus", boat, engine)
}

package timeline

// series is the pyramid of one row of values. A cell of level k is 4^k seconds
// long; levels below base are not kept. Of the base level blocks are packed, and
// the two levels above it are made from them when they are looked at.
//
// Invariants: tail is shorter than a block; of level base+blockLevels and each
// above it all full cells are kept.
type series struct {
	base   int
	below  []opening // [k] gathers cells of level k, below the base, for one of level k+1
	packed packed
	tail   []cell   // of the base level, in no block yet
	levels [][]cell // [k] is level base+blockLevels+k
}

type opening struct {
	merge
	cells int
}

// add appends a cell of level k, at most the base; lower levels must have
// nothing open.
func (s *series) add(k int, c cell) {
	for ; k < s.base; k++ {
		for len(s.below) <= k {
			s.below = append(s.below, opening{})
		}
		o := &s.below[k]
		o.add(c)
		if o.cells++; o.cells < fanout {
			return
		}
		c = o.cell()
		*o = opening{}
	}
	if s.tail = append(s.tail, c); len(s.tail) < blockCells {
		return
	}
	s.packed.add(s.tail, s.base > 0)
	c = folded(s.tail, blockLevels)[0]
	s.tail = s.tail[:0]
	for k := 0; ; k++ {
		if len(s.levels) == k {
			s.levels = append(s.levels, nil)
		}
		s.levels[k] = append(s.levels[k], c)
		n := len(s.levels[k])
		if n%fanout != 0 {
			return
		}
		c = merged(s.levels[k][n-fanout:])
	}
}

// folded makes cells of a level some levels higher, in place; the last one may
// not be full.
func folded(cells []cell, levels int) []cell {
	for range levels {
		n := 0
		for i := 0; i < len(cells); i += fanout {
			cells[n] = merged(cells[i:min(i+fanout, len(cells))])
			n++
		}
		cells = cells[:n]
	}
	return cells
}

// coarsened is the same row without its finest level.
func (s *series) coarsened() series {
	out := series{base: s.base + 1, below: s.below}
	at := s.look(s.base)
	for i := range s.full(s.base) {
		out.add(s.base, at.cell(i))
	}
	return out
}

// full is the number of full cells of a level.
func (s *series) full(level int) int {
	if k := level - s.base; k < blockLevels {
		return (s.packed.blocks()*blockCells + len(s.tail)) >> (fanBits * k)
	} else if k -= blockLevels; k < len(s.levels) {
		return len(s.levels[k])
	}
	return 0
}

// rest is the cell of a level that is not full.
func (s *series) rest(level int) cell {
	var m merge
	for k := level - 1; k >= s.base+blockLevels; k-- {
		if n := s.full(k); n > 0 {
			for _, c := range s.levels[k-s.base-blockLevels][n&^(fanout-1):] {
				m.add(c)
			}
		}
	}
	from := 0 // in tail
	if k := level - s.base; k < blockLevels {
		from = len(s.tail) &^ (1<<(fanBits*max(k, 0)) - 1)
	}
	for _, c := range s.tail[from:] {
		m.add(c)
	}
	for k := min(s.base, len(s.below)) - 1; k >= 0; k-- {
		m.add(s.below[k].cell())
	}
	return m.cell()
}

// looker looks at the cells of one level, from the base up; one block stays
// unpacked, so that going along them in order is quick.
type looker struct {
	s     *series
	level int
	block int // the one that cells is of, -1 for none
	cells []cell
	room  [blockCells]cell
}

func (s *series) look(level int) *looker { return &looker{s: s, level: level, block: -1} }

// cell returns cell i; the last one may not be full, and beyond it they are
// empty.
func (l *looker) cell(i int) cell {
	s, k := l.s, l.level-l.s.base
	switch n := s.full(l.level); {
	case i == n:
		return s.rest(l.level)
	case i > n:
		return cell{}
	case k >= blockLevels:
		return s.levels[k-blockLevels][i]
	}
	each := blockCells >> (fanBits * k)
	if b := i / each; b != l.block {
		l.block = b
		l.cells = l.room[:]
		if b < s.packed.blocks() {
			s.packed.block(b, l.cells, s.base > 0)
		} else {
			l.cells = l.room[:copy(l.room[:], s.tail)]
		}
		l.cells = folded(l.cells, k)
	}
	return l.cells[i%each]
}

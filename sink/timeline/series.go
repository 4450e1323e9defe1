package timeline

import "math"

// cell is what was measured in a stretch of time.
type cell struct {
	min, max, mean float32
	count          uint32 // of seconds that have a value; without any the rest means nothing
}

// cellOf is the cell of one second; a value that is no number is none.
func cellOf(v float64) cell {
	f := float32(v)
	if math.IsNaN(v) || math.IsInf(float64(f), 0) {
		return cell{}
	}
	return cell{f, f, f, 1}
}

// merge gathers several cells.
type merge struct {
	min, max float32
	sum      float64
	count    uint32
}

func (m *merge) add(c cell) {
	if c.count == 0 {
		return
	}
	if m.count == 0 {
		m.min, m.max = c.min, c.max
	}
	m.min, m.max = min(m.min, c.min), max(m.max, c.max)
	m.sum += float64(c.mean) * float64(c.count)
	m.count += c.count
}

func (m *merge) cell() cell {
	if m.count == 0 {
		return cell{}
	}
	return cell{m.min, m.max, float32(m.sum / float64(m.count)), m.count}
}

// series is the pyramid of one row of values. A cell of level k is 4^k seconds
// long; levels below base are not kept.
type series struct {
	base   int
	values []float32 // level 0, NaN for none; kept while base is 0
	levels [][]cell  // [k-1] is level k
	open   []opening // [k] gathers cells of level k for one of level k+1
}

type opening struct {
	merge
	cells int
}

// add appends a cell of level k; lower levels must have nothing open.
func (s *series) add(k int, c cell) {
	for ; ; k++ {
		s.keep(k, c)
		for len(s.open) <= k {
			s.open = append(s.open, opening{})
		}
		o := &s.open[k]
		o.add(c)
		if o.cells++; o.cells < fanout {
			return
		}
		c = o.cell()
		*o = opening{}
	}
}

func (s *series) keep(k int, c cell) {
	switch {
	case k < s.base:
	case k == 0:
		v := c.mean
		if c.count == 0 {
			v = float32(math.NaN())
		}
		s.values = append(s.values, v)
	default:
		for len(s.levels) < k {
			s.levels = append(s.levels, nil)
		}
		s.levels[k-1] = append(s.levels[k-1], c)
	}
}

func (s *series) coarsen() {
	s.base++
	s.values = nil
	if s.base > 1 {
		s.levels[s.base-2] = nil
	}
}

// at returns cell i of a level; the last one may not be full, and beyond it
// they are empty.
func (s *series) at(level, i int) cell {
	if n := s.full(level); i != n {
		if i > n {
			return cell{}
		}
		if level == 0 {
			return cellOf(float64(s.values[i]))
		}
		return s.levels[level-1][i]
	}
	var rest merge
	for k := min(level, len(s.open)) - 1; k >= 0; k-- {
		rest.add(s.open[k].cell())
	}
	return rest.cell()
}

// full is the number of full cells of a level.
func (s *series) full(level int) int {
	switch {
	case level == 0:
		return len(s.values)
	case level <= len(s.levels):
		return len(s.levels[level-1])
	}
	return 0
}

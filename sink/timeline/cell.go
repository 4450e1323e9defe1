package timeline

import "math"

// cell is what was measured in a stretch of time, in quanta of its channel.
type cell struct {
	min, max, mean int32
	count          uint32 // of seconds that have a value; without any the rest means nothing
}

// maxQuanta is the most that a value may be: as many are exact in the 4-byte
// floats of a file.
const maxQuanta = 1 << 22

// quanta rounds a value; ok is false for what is no number, or is out of range.
func quanta(v, quantum float64) (q int32, ok bool) {
	n := math.Round(v / quantum)
	if !(math.Abs(n) <= maxQuanta) {
		return 0, false
	}
	return int32(n), true
}

// cellOf is the cell of one second; a value that is no number is none.
func cellOf(v, quantum float64) cell {
	q, ok := quanta(v, quantum)
	if !ok {
		return cell{}
	}
	return cell{q, q, q, 1}
}

// merge gathers several cells.
type merge struct {
	min, max int32
	sum      int64
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
	m.sum += int64(c.mean) * int64(c.count)
	m.count += c.count
}

// mean is NaN of nothing.
func (m *merge) mean() float64 { return float64(m.sum) / float64(m.count) }

func (m *merge) cell() cell {
	if m.count == 0 {
		return cell{}
	}
	return cell{m.min, m.max, int32(math.Round(m.mean())), m.count}
}

// merged is one cell of several.
func merged(cells []cell) cell {
	var m merge
	for _, c := range cells {
		m.add(c)
	}
	return m.cell()
}

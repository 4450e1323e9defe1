package timeline

import "encoding/binary"

// blockCells is how many cells are packed together; blockLevels is how many
// levels up they are one cell.
const (
	blockCells  = 1 << (fanBits * blockLevels)
	blockLevels = 3
)

// packed keeps cells in blocks, in a fourth of their size or less: what a
// second brings differs little from the second before.
//
// A cell is a variable-length integer (encoding/binary): 0 for one without a
// value, or else 1 more than the step from the last mean, its sign folded in;
// a wide one is followed by its count and by how far its least and greatest are
// from its mean. A block can be read without those before it.
type packed struct {
	text []byte
	ends []uint32 // of each block in text
}

func (p *packed) blocks() int { return len(p.ends) }

// add packs a block of blockCells. Cells of one second are not wide: their
// least, greatest and mean are one.
func (p *packed) add(cells []cell, wide bool) {
	last := int32(0)
	for _, c := range cells {
		if c.count == 0 {
			p.text = append(p.text, 0)
			continue
		}
		step := c.mean - last
		p.text = binary.AppendUvarint(p.text, 1+uint64(uint32(step<<1^step>>31)))
		last = c.mean
		if wide {
			p.text = binary.AppendUvarint(p.text, uint64(c.count))
			p.text = binary.AppendUvarint(p.text, uint64(c.mean-c.min))
			p.text = binary.AppendUvarint(p.text, uint64(c.max-c.mean))
		}
	}
	p.ends = append(p.ends, uint32(len(p.text)))
}

// block unpacks a block into cells, which must have room for it.
func (p *packed) block(i int, cells []cell, wide bool) {
	at := 0
	if i > 0 {
		at = int(p.ends[i-1])
	}
	number := func() int32 {
		if b := p.text[at]; b < 0x80 { // as most are
			at++
			return int32(b)
		}
		v, n := binary.Uvarint(p.text[at:])
		at += n
		return int32(uint32(v))
	}
	last := int32(0)
	for k := range cells {
		v := number()
		if v == 0 {
			cells[k] = cell{}
			continue
		}
		v--
		last += int32(uint32(v)>>1) ^ -(v & 1)
		cells[k] = cell{last, last, last, 1}
		if wide {
			cells[k].count = uint32(number())
			cells[k].min = last - number()
			cells[k].max = last + number()
		}
	}
}

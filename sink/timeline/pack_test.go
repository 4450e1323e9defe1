package timeline

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// What is unpacked is what was packed, whichever block is asked for first.
func TestBlocksComeBack(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 3))
	value := func() int32 {
		switch r.IntN(4) {
		case 0:
			return maxQuanta * (1 - 2*r.Int32N(2))
		case 1:
			return r.Int32N(2*maxQuanta+1) - maxQuanta
		}
		return r.Int32N(200) - 100
	}
	for _, wide := range []bool{false, true} {
		var p packed
		var blocks [][]cell
		for range 50 {
			block := make([]cell, blockCells)
			for i := range block {
				if r.IntN(5) == 0 {
					continue
				}
				v := value()
				block[i] = cell{v, v, v, 1}
				if wide {
					of := []int32{v, value(), value()}
					slices.Sort(of)
					block[i] = cell{of[0], of[2], of[1], 1 + r.Uint32N(1<<24)}
				}
			}
			p.add(block, wide)
			blocks = append(blocks, block)
		}
		for _, i := range r.Perm(len(blocks)) {
			got := make([]cell, blockCells)
			p.block(i, got, wide)
			if !slices.Equal(got, blocks[i]) {
				t.Fatalf("wide %v, block %d: %v, want %v", wide, i, got, blocks[i])
			}
		}
	}
}

// Even of noise, a second takes less than the 4 bytes it has in a file.
func TestPackedIsSmall(t *testing.T) {
	d := newDay(6, 10_000, 2)
	for i := range d.line.columns {
		for k := range d.line.columns[i].parts {
			s := &d.line.columns[i].parts[k]
			if size := len(s.packed.text) + 4*len(s.packed.ends); size > 4*d.line.seconds {
				t.Errorf("%s: %d bytes for %d seconds", d.line.key(&d.line.columns[i]), size, d.line.seconds)
			}
		}
	}
}

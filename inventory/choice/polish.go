package choice

// polisher betters a choice by changing one item or two at a time.
type polisher struct {
	t    *table
	at   []int32 // the choice, a column for each item
	room []float64
	pool []int32 // items with more than one option
	near float64 // options that are tried in pairs
}

func newPolisher(t *table) *polisher {
	p := &polisher{t: t, room: make([]float64, t.rows)}
	for i := range t.items {
		options := t.first[i+1] - t.first[i]
		if options > 1 {
			p.pool = append(p.pool, int32(i))
		}
		p.near += float64(min(options, 2*pairsNear+1))
	}
	return p
}

// begin takes a choice that fits.
func (p *polisher) begin(columns []int32) {
	p.at = append(p.at[:0], columns...)
	m := p.t.rows
	for r := range p.room {
		p.room[r] = 1
		for _, k := range columns {
			p.room[r] -= p.t.use[int(k)*m+r]
		}
	}
}

func (p *polisher) move(i, to int32) {
	m := p.t.rows
	from := p.at[i]
	for r := range p.room {
		p.room[r] -= p.t.use[int(to)*m+r] - p.t.use[int(from)*m+r]
	}
	p.at[i] = to
}

func (p *polisher) fits(from, to int32) bool {
	m := p.t.rows
	a, b := p.t.use[int(from)*m:int(from)*m+m], p.t.use[int(to)*m:int(to)*m+m]
	for r, u := range b {
		if u-a[r] > p.room[r] {
			return false
		}
	}
	return true
}

// fill takes the change of one item that gains most and fits, until none does.
func (p *polisher) fill() {
	for {
		best, at, to := p.t.step(), int32(-1), int32(0)
		for _, i := range p.pool {
			from := p.at[i]
			for k := p.t.first[i]; k < p.t.first[i+1]; k++ {
				if gain := p.t.gain[k] - p.t.gain[from]; gain > best {
					if p.fits(from, k) {
						best, at, to = gain, i, k
					}
				}
			}
		}
		if at < 0 {
			return
		}
		p.move(at, to)
	}
}

// exchange changes two items at a time, and one, until nothing is gained.
func (p *polisher) exchange() {
	if p.near*p.near*float64(p.t.rows) > pairsMost {
		return
	}
	for p.pair() {
		p.fill()
	}
}

// window returns the options of an item that are tried in pairs: those around the one
// taken.
func (p *polisher) window(i int32) (low, high int32) {
	return max(p.t.first[i], p.at[i]-pairsNear), min(p.t.first[i+1], p.at[i]+pairsNear+1)
}

func (p *polisher) pair() bool {
	for _, i := range p.pool {
		from := p.at[i]
		low, high := p.window(i)
		for k := low; k < high; k++ {
			loss := p.t.gain[from] - p.t.gain[k]
			if loss <= 0 {
				continue
			}
			p.move(i, k)
			best, at, to := loss+p.t.step(), int32(-1), int32(0)
			for _, j := range p.pool {
				if j == i {
					continue
				}
				other := p.at[j]
				low, high := p.window(j)
				for l := low; l < high; l++ {
					if gain := p.t.gain[l] - p.t.gain[other]; gain > best && p.fits(other, l) {
						best, at, to = gain, j, l
					}
				}
			}
			if at >= 0 {
				p.move(at, to)
				return true
			}
			p.move(i, from)
		}
	}
	return false
}

// pairsMost bounds the work of trying all pairs, which grows with the square of the
// options, to a second or so; and pairsNear the options of one item among them: a consumable
// has hundreds, of which far ones are not exchanged for a spare at a gain.
const (
	pairsMost = 1e9
	pairsNear = 8
)

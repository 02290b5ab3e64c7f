package bundle

import "math/bits"

// The modelled method predicts every bit from the bits before it and spends on it
// what the prediction leaves open: binary arithmetic coding with logistic mixing of
// several contexts, as Mahoney's PAQ programs do (M. Mahoney, "Adaptive Weighing of
// Context Models for Lossless Data Compression", Florida Tech. CS-2005-16). All of it
// is whole-number arithmetic, so that every machine predicts alike.

const (
	contexts    = 6
	slotBits    = 17
	countLimit  = 250
	mixRate     = 14
	mixSets     = 64 // weights are kept apart by column
	weightOne   = 1 << 16
	weightLimit = 16 * weightOne
)

// model predicts the bits of one bundle.
type model struct {
	slots   [contexts][1 << slotBits]uint32 // probability of a one (16 bits), count (8), check (8)
	weights [mixSets][contexts]int32

	column uint32 // of the byte before
	last   uint32 // bytes before in that column, the latest lowest
	hashes [contexts]uint32
	at     [contexts]*uint32
	inputs [contexts]int32
	mix    *[contexts]int32
	chance int32 // of a one, of 4096
}

func (m *model) reset() {
	clear(m.slots[:])
	for i := range m.weights {
		for j := range m.weights[i] {
			m.weights[i][j] = weightOne * 3 / 10
		}
	}
	m.column, m.last = 0, 0
}

func hash32(a, b, c uint32) uint32 {
	h := a*0x9e3779b1 ^ bits.RotateLeft32(b*0x85ebca6b, 13) ^ bits.RotateLeft32(c*0xc2b2ae35, 7)
	h ^= h >> 15
	h *= 0x2c1b3c6d
	return h ^ h>>13
}

// begin prepares for a byte at a place.
func (m *model) begin(at place) {
	if at.column&^15 != m.column&^15 {
		m.last = 0
	}
	m.column = at.column
	h := &m.hashes
	h[0] = hash32(1, at.column, 0)
	h[1] = hash32(2, at.column, m.last&0xff)
	h[2] = hash32(3, at.column, m.last&0xffff)
	h[3] = hash32(4, at.column, at.before)
	h[4] = hash32(5, m.last&0xffffff, 1)
	h[5] = hash32(6, at.column>>4&0xff, m.last)
	m.mix = &m.weights[at.column>>4%mixSets]
}

// end takes in the byte that came.
func (m *model) end(b byte) { m.last = m.last<<8 | uint32(b) }

// predict sets the chance of the next bit; node is 1 and the bits of the byte so far.
func (m *model) predict(node uint32) {
	sum := int64(0)
	for i := range contexts {
		h := hash32(m.hashes[i], node, 0)
		slot := &m.slots[i][h>>(32-slotBits)]
		if check := h & 0xff; *slot&0xff != check || *slot == 0 {
			*slot = 1<<31 | check
		}
		m.at[i] = slot
		m.inputs[i] = stretchTable[*slot>>20]
		sum += int64(m.inputs[i]) * int64(m.mix[i])
	}
	m.chance = squash(int32(max(-2047, min(2047, sum>>16))))
	m.chance = max(1, min(4095, m.chance))
}

// update learns the bit that came.
func (m *model) update(bit uint32) {
	wrong := (int32(bit<<12) - m.chance) * mixRate
	for i := range contexts {
		weight := m.mix[i] + (m.inputs[i]*wrong+0x8000)>>16
		m.mix[i] = max(-weightLimit, min(weightLimit, weight))
		slot := *m.at[i]
		p, count := int32(slot>>16), int32(slot>>8&0xff)
		p += ((int32(bit)*0xffff - p) * rateTable[count]) >> 16
		if count < countLimit {
			count++
		}
		*m.at[i] = uint32(p)<<16 | uint32(count)<<8 | slot&0xff
	}
}

var squashAt = [33]int32{1, 2, 3, 6, 10, 16, 27, 45, 73, 120, 194, 310, 488, 747, 1101, 1546, 2047, 2549, 2994, 3348, 3607, 3785,
	3901, 3975, 4022, 4050, 4068, 4079, 4085, 4089, 4092, 4093, 4094}

// squash returns 4096/(1+exp(-d/256)), nearly.
func squash(d int32) int32 {
	if d > 2046 {
		return 4095
	}
	if d < -2046 {
		return 0
	}
	w, i := d&127, d>>7+16
	return (squashAt[i]*(128-w) + squashAt[i+1]*w + 64) >> 7
}

var (
	stretchTable = makeStretch()
	rateTable    = makeRates()
)

// makeStretch returns the inverse of squash.
func makeStretch() (t [4096]int32) {
	next := int32(0)
	for d := int32(-2047); d <= 2047; d++ {
		v := squash(d)
		for ; next <= v; next++ {
			t[next] = d
		}
	}
	for ; next < 4096; next++ {
		t[next] = 2047
	}
	return t
}

func makeRates() (t [256]int32) {
	for n := range t {
		t[n] = int32(65536 * 2 / (2*n + 3))
	}
	return t
}

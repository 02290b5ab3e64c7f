package bundle

import "math"

// Entropy is what a coder must spend on the columns of a bundle that knows, for each
// of them and for nothing, how often each symbol stands in it, and nothing else: the
// empirical order-0 entropy. A symbol is a code of a packed column (what section 3 of
// docs/bundle-format.md calls so, after its predictions), or a byte of a text. Plain
// columns count as many bytes as they have or the entropy of their bytes, whichever
// is less.
type Entropy struct {
	Packed, Plain float64 // bytes
	Columns       int
}

// Bytes returns the bound.
func (e Entropy) Bytes() float64 { return e.Packed + e.Plain }

// EntropyOf returns the entropy of the columns of a bundle.
func EntropyOf(b *Bundle) (Entropy, error) {
	sites := newSiteTable(sitesOf(b))
	sites.know(b.Clock)
	t := &table{}
	if err := newWalker(b, t, sites, false).walk(); err != nil {
		return Entropy{}, err
	}
	packed, plain := &symbolCounter{}, &symbolCounter{}
	w := &wire{packed: packed, plain: plain}
	t.carry(w, len(t.shape.codes))
	e := Entropy{Columns: len(packed.columns) + len(plain.columns)}
	for _, symbols := range packed.columns {
		bits, _ := symbols.entropy()
		e.Packed += bits / 8
	}
	for _, symbols := range plain.columns {
		bits, n := symbols.entropy()
		e.Plain += min(bits/8, float64(n))
	}
	return e, w.err
}

// ColumnBytes returns how many bytes the packed columns of a bundle take.
func ColumnBytes(b *Bundle) (n int, err error) {
	_, err = encode(b, nil, func(t *table, sets int) ([]byte, byte, error) {
		packed, method, err := pack(t, sets)
		n = len(packed)
		return packed, method, err
	})
	return n, err
}

// symbolCounter is a coder that counts what it is given.
type symbolCounter struct {
	columns map[uint32]symbols
	number  uint64 // begun, its lowest bits
	shift   uint
}

type symbols map[uint64]int

func (c *symbolCounter) count(column uint32, symbol uint64) {
	if c.columns == nil {
		c.columns = map[uint32]symbols{}
	}
	if c.columns[column] == nil {
		c.columns[column] = symbols{}
	}
	c.columns[column][symbol]++
}

// byte takes bytes of numbers: the last one of a number has its high bit clear.
func (c *symbolCounter) byte(b byte, at place) byte {
	c.number |= uint64(b&0x7f) << c.shift
	c.shift += 7
	if b < 0x80 {
		c.count(at.column&^3, c.number)
		c.number, c.shift = 0, 0
	}
	return b
}

func (c *symbolCounter) bytes(p []byte, at place) {
	for _, b := range p {
		c.count(at.column, uint64(b))
	}
}

func (c *symbolCounter) left() int { return 0 }

// entropy returns the bits that the symbols need together, and how many they are.
func (s symbols) entropy() (bits float64, n int) {
	for _, times := range s {
		n += times
	}
	for _, times := range s {
		bits -= float64(times) * math.Log2(float64(times)/float64(n))
	}
	return bits, n
}

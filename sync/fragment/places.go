package fragment

import "math/bits"

// Methods to write down places. Each writes ascending places below total.
const (
	methodAll  = 0 // all places
	methodRuns = 1 // lengths of runs: there, missing, there …
	methodGaps = 2 // how many are there before each that is missing
	methodBits = 3 // a bit for each place
)

var methods = [...]func(places []int, total int) ([]byte, bool){
	methodAll:  func(places []int, total int) ([]byte, bool) { return []byte{}, len(places) == total },
	methodRuns: writeRuns,
	methodGaps: writeGaps,
	methodBits: writeBits,
}

var readers = [...]func(list []byte, total int) []int{
	methodAll:  readAll,
	methodRuns: readRuns,
	methodGaps: readGaps,
	methodBits: readBits,
}

func readAll(_ []byte, total int) []int {
	places := make([]int, total)
	for i := range places {
		places[i] = i
	}
	return places
}

// writeRuns writes the lengths of runs in Elias' gamma code, the first plus one as
// it may be zero, and zero bits to the end of the last byte.
func writeRuns(places []int, _ int) ([]byte, bool) {
	var w bitWriter
	end := 0 // behind the run before
	for i := 0; i < len(places); {
		n := 1
		for i+n < len(places) && places[i+n] == places[i]+n {
			n++
		}
		there := places[i] - end
		if i == 0 {
			there++
		}
		w.gamma(uint(there))
		w.gamma(uint(n))
		end = places[i] + n
		i += n
	}
	return w.out, true
}

func readRuns(list []byte, total int) []int {
	var places []int
	r, at := bitReader{list: list}, -1 // the first run is written plus one
	for {
		there, ok1 := r.gamma()
		missing, ok2 := r.gamma()
		if !ok1 || !ok2 || there > uint(total) || missing > uint(total) || at+int(there)+int(missing) > total {
			return places
		}
		at += int(there)
		for range missing {
			places = append(places, at)
			at++
		}
	}
}

// writeGaps writes four bits r, then for each place the number of places between
// it and the one before in Rice's code: the number >> r in ones, a zero, r bits.
// One bits fill the last byte.
func writeGaps(places []int, total int) ([]byte, bool) {
	var best []byte
	for r := range uint(16) {
		var w bitWriter
		w.bits(uint(r), 4)
		before := -1
		for _, place := range places {
			gap := uint(place - before - 1)
			for range gap >> r {
				w.bits(1, 1)
			}
			w.bits(0, 1)
			w.bits(gap&(1<<r-1), r)
			before = place
		}
		for w.free() > 0 {
			w.bits(1, 1)
		}
		if best == nil || len(w.out) < len(best) {
			best = w.out
		}
	}
	return best, true
}

func readGaps(list []byte, total int) []int {
	r := bitReader{list: list}
	rice, ok := r.bits(4)
	var places []int
	for at := -1; ok; {
		high := uint(0)
		one, more := r.bits(1)
		for ; more && one == 1 && high <= uint(total); one, more = r.bits(1) {
			high++
		}
		low, whole := r.bits(rice)
		gap := high<<rice | low
		if !more || !whole || gap >= uint(total) || at+1+int(gap) >= total {
			return places
		}
		at += 1 + int(gap)
		places = append(places, at)
	}
	return places
}

// writeBits writes a bit for each place, 1 for missing, without zero bytes at the
// end.
func writeBits(places []int, _ int) ([]byte, bool) {
	out := make([]byte, places[len(places)-1]/8+1)
	for _, place := range places {
		out[place/8] |= 0x80 >> (place % 8)
	}
	return out, true
}

func readBits(list []byte, total int) []int {
	var places []int
	for i, b := range list {
		for j := range 8 {
			if b&(0x80>>j) != 0 && i*8+j < total {
				places = append(places, i*8+j)
			}
		}
	}
	return places
}

// bitWriter writes bits, the highest of each byte first.
type bitWriter struct {
	out []byte
	n   int // bits written
}

func (w *bitWriter) free() int { return len(w.out)*8 - w.n }

// bits writes the lowest count bits of value.
func (w *bitWriter) bits(value, count uint) {
	for i := int(count) - 1; i >= 0; i-- {
		if w.free() == 0 {
			w.out = append(w.out, 0)
		}
		w.out[w.n/8] |= byte(value>>i&1) << (7 - w.n%8)
		w.n++
	}
}

// gamma writes a number above 0.
func (w *bitWriter) gamma(value uint) {
	length := uint(bits.Len(value))
	w.bits(0, length-1)
	w.bits(value, length)
}

// bitReader reads what bitWriter wrote. ok is false behind the end.
type bitReader struct {
	list []byte
	n    int
}

func (r *bitReader) bits(count uint) (value uint, ok bool) {
	if int(count) > len(r.list)*8-r.n {
		return 0, false
	}
	for range count {
		value = value<<1 | uint(r.list[r.n/8]>>(7-r.n%8)&1)
		r.n++
	}
	return value, true
}

func (r *bitReader) gamma() (value uint, ok bool) {
	length := uint(0)
	for {
		bit, ok := r.bits(1)
		if !ok || length > 24 {
			return 0, false
		}
		if bit == 1 {
			break
		}
		length++
	}
	low, ok := r.bits(length)
	return 1<<length | low, ok
}

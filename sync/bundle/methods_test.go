package bundle

import (
	"encoding/binary"
	"fmt"
	"testing"
)

// methodSizes returns how many bytes the columns of a bundle take by each method.
func methodSizes(tb testing.TB, b *Bundle) map[string]int {
	sites := newSiteTable(sitesOf(b))
	sites.know(b.Clock)
	t := &table{}
	if err := newWalker(b, t, sites, false).walk(); err != nil {
		tb.Fatal(err)
	}
	sets := len(t.shape.codes)
	packed, plain := &bufferWriter{}, &bufferWriter{}
	t.carry(&wire{packed: packed, plain: plain}, sets)
	unprimed := &modelWriter{model: new(model), high: 1<<32 - 1}
	unprimed.reset()
	t.carry(&wire{packed: unprimed, plain: &bufferWriter{}}, sets)
	frame := len(unprimed.finish())
	return map[string]int{
		"raw":            len(packed.buf) + len(plain.buf),
		"zstd":           len(compress(packed.buf)) + len(plain.buf),
		"modelled-bare":  frame + len(binary.AppendUvarint(nil, uint64(frame))) + len(plain.buf),
		"modelled":       len(t.modelled(sets, false)) + len(plain.buf),
		"of-these-plain": len(plain.buf),
	}
}

// standardDay is set by the external tests, which may import package daytest.
var standardDay func(changes int) *Bundle

// BenchmarkMethods reports what docs/decisions/bundle-columns.md says of methods.
func BenchmarkMethods(b *testing.B) {
	for _, n := range []int{1, 5, 20, 100, 2000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			content := standardDay(n)
			var sizes map[string]int
			for b.Loop() {
				sizes = methodSizes(b, content)
			}
			for name, size := range sizes {
				if size > 0 {
					b.ReportMetric(float64(size), "B-"+name)
				}
			}
		})
	}
}

// Sizes that later changes must not lose without notice.
func TestSizes(t *testing.T) {
	for _, c := range []struct {
		changes int
		most    float64 // bytes for each change, header and signature included
	}{{1, 170}, {2000, 5}} {
		b := standardDay(c.changes)
		data, err := Encode(b, sign)
		if err != nil {
			t.Fatal(err)
		}
		if got := float64(len(data)) / float64(changesIn(b)); got > c.most {
			t.Errorf("%d changes take %.2f bytes each; at most %.0f", changesIn(b), got, c.most)
		}
		back, err := Decode(data, DefaultLimits)
		if err != nil {
			t.Fatal(err)
		}
		sameBundle(t, back, b)
	}
}

func changesIn(b *Bundle) (n int) {
	for i := range b.Segments {
		for _, set := range b.Segments[i].Sets {
			n += len(set.Changes)
		}
	}
	return n
}

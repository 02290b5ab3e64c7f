package clock

import (
	"bytes"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// The figure of three processes in Mattern, "Virtual Time and Global States of
// Distributed Systems" (1989), is of this kind: events carry the vectors below and
// are ordered exactly where one vector is below the other. The relations follow
// from the paper's theorem (e before f if and only if V(e) < V(f)); the vectors
// are from memory, not copied from the printed figure.
func TestCompareMattern1989(t *testing.T) {
	p1, p2, p3 := Lane{Site: 1}, Lane{Site: 2}, Lane{Site: 3}
	at := func(a, b, c uint64) Vector {
		v := Vector{}
		for lane, n := range map[Lane]uint64{p1: a, p2: b, p3: c} {
			if n > 0 {
				v[lane] = n
			}
		}
		return v
	}
	for _, c := range []struct {
		name string
		v, w Vector
		want Order
	}{
		{"local_successor", at(1, 0, 0), at(2, 0, 0), Before},
		{"message_received", at(1, 0, 0), at(1, 2, 0), Before},
		{"two_hops", at(1, 0, 0), at(1, 3, 2), Before},
		{"independent", at(2, 0, 0), at(0, 1, 0), Concurrent},
		{"crossed", at(2, 1, 0), at(1, 2, 0), Concurrent},
		{"later", at(2, 3, 2), at(1, 3, 1), After},
		{"same", at(2, 3, 2), at(2, 3, 2), Equal},
		{"empty", nil, at(0, 0, 1), Before},
	} {
		if got := c.v.Compare(c.w); got != c.want {
			t.Errorf("%s: %v compare %v = %s; want %s (Mattern 1989, theorem 10, from memory)", c.name, c.v, c.w, got, c.want)
		}
	}
}

func drawDot(t *rapid.T, label string) Dot {
	return Dot{
		Lane: Lane{
			Site:   SiteID(rapid.Uint32Range(1, 3).Draw(t, label+"_site")),
			Epoch:  uint16(rapid.IntRange(0, 300).Draw(t, label+"_epoch")),
			Class:  Class(rapid.IntRange(0, 3).Draw(t, label+"_class")),
			Branch: rapid.SampledFrom([]uint32{0, 0, 1, 1 << 31}).Draw(t, label+"_branch"),
		},
		Seq:   rapid.Uint64Range(1, SeqMax).Draw(t, label+"_seq"),
		Index: uint16(rapid.IntRange(0, 1<<16-1).Draw(t, label+"_index")),
	}
}

func TestKeySortsAsCompare(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawDot(t, "a"), drawDot(t, "b")
		if got, want := bytes.Compare(a.Key(), b.Key()), a.Compare(b); got != want {
			t.Fatalf("keys of %s and %s compare %d; dots compare %d", a, b, got, want)
		}
		back, err := DotFromKey(a.Key())
		if err != nil || back != a {
			t.Fatalf("DotFromKey(Key(%s)) = %s, %v", a, back, err)
		}
	})
}

func TestMergeIsLeastUpperBound(t *testing.T) {
	draw := func(t *rapid.T, label string) Vector {
		v := Vector{}
		for site := SiteID(1); site <= 3; site++ {
			if n := rapid.Uint64Range(0, 3).Draw(t, label); n > 0 {
				v[Lane{Site: site}] = n
			}
		}
		return v
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := draw(t, "a"), draw(t, "b")
		m := a.Clone()
		m.Merge(b)
		n := b.Clone()
		n.Merge(a)
		if m.Compare(n) != Equal {
			t.Fatalf("merge is not commutative: %v, %v", m, n)
		}
		for _, v := range []Vector{a, b} {
			if order := v.Compare(m); order != Before && order != Equal {
				t.Fatalf("%v is %s its merge %v", v, order, m)
			}
		}
	})
}

func TestNextNeverRunsBackwards(t *testing.T) {
	start := time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)
	last := Next(0, start)
	for _, wall := range []time.Time{start, start.Add(-48 * time.Hour), start.Add(time.Millisecond), start.Add(-time.Second)} {
		next := Next(last, wall)
		if next <= last {
			t.Fatalf("Next(%s, %s) = %s, not later", last, wall, next)
		}
		last = next
	}
}

func TestObserveDoesNotFollowAWrongClock(t *testing.T) {
	now := time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)
	last := StampAt(now)
	if got, ok := Observe(last, StampAt(now.Add(48*time.Hour)), now); ok || got != last {
		t.Errorf("a peer two days ahead was followed: %s, %v", got, ok)
	}
	ahead := StampAt(now.Add(time.Minute))
	if got, ok := Observe(last, ahead, now); !ok || got != ahead {
		t.Errorf("a peer one minute ahead was not followed: %s, %v", got, ok)
	}
}

// TestDotScan: a column holds a key or nothing, and what is neither is refused.
func TestDotScan(t *testing.T) {
	want := Dot{Lane: Lane{Site: 7, Epoch: 2, Class: Expedited}, Seq: 1 << 33, Index: 9}
	for _, c := range []struct {
		name   string
		column any
		want   Dot
		ok     bool
	}{
		{"key", want.Key(), want, true},
		{"null", nil, Dot{}, true},
		{"empty", []byte{}, Dot{}, true},
		{"cut_off", want.Key()[:KeySize-1], Dot{}, false},
		{"text", "stn-5", Dot{}, false},
		{"number", int64(5), Dot{}, false},
	} {
		got := Dot{Seq: 3} // what stood there before goes
		if err := got.Scan(c.column); (err == nil) != c.ok || c.ok && got != c.want {
			t.Errorf("%s: %v, %v; want %v, fine: %t", c.name, got, err, c.want, c.ok)
		}
	}
}

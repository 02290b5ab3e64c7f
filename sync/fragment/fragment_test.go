package fragment

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func noise(n int, seed uint64) []byte {
	r := rand.New(rand.NewPCG(seed, 1))
	out := make([]byte, n)
	for i := range out {
		out[i] = byte(r.Uint32())
	}
	return out
}

// cutAll cuts a parcel and reads its fragments again.
func cutAll(t testing.TB, parcel []byte, maxBytes int, share float64) (Cut, []*Fragment) {
	t.Helper()
	c, err := Plan(parcel, maxBytes, share)
	if err != nil {
		t.Fatalf("Plan(%d bytes, %d, %g): %v", len(parcel), maxBytes, share, err)
	}
	encoded, err := c.Fragments(parcel, nil)
	if err != nil {
		t.Fatal(err)
	}
	var list []*Fragment
	for i, data := range encoded {
		if len(data) > maxBytes {
			t.Fatalf("fragment %d of %+v has %d bytes, at most %d", i, c, len(data), maxBytes)
		}
		f, err := Parse(data)
		if err != nil || f.Place != i || f.Cut != c {
			t.Fatalf("fragment %d of %+v reads as %+v, %v", i, c, f, err)
		}
		list = append(list, f)
	}
	return c, list
}

// TestAnyOfN cuts any parcel in any way and joins it from any Data fragments, in
// any order, some repeated.
func TestAnyOfN(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		maxBytes := rapid.SampledFrom([]int{32, 64, 100, 340, 1000, 50_000}).Draw(rt, "maxBytes")
		parcel := noise(rapid.IntRange(1, min(60*maxBytes, 30_000)).Draw(rt, "length"), rapid.Uint64().Draw(rt, "seed"))
		share := rapid.SampledFrom([]float64{0, 0, 0.1, 0.3, 1, 2.5}).Draw(rt, "share")
		c, list := cutAll(t, parcel, maxBytes, share)
		arrive := rapid.Permutation(list).Draw(rt, "order")[:c.Data]
		bodies := make([][]byte, c.Total())
		for _, f := range append(arrive, arrive[0]) {
			bodies[f.Place] = f.Body
		}
		if got, err := c.Join(bodies); err != nil || !bytes.Equal(got, parcel) {
			rt.Fatalf("Join of %d of %d: %d bytes, %v", c.Data, c.Total(), len(got), err)
		}
		bodies[arrive[0].Place] = nil
		if _, err := c.Join(bodies); !errors.Is(err, ErrNotWhole) {
			rt.Fatalf("Join of %d of %d: %v", c.Data-1, c.Total(), err)
		}
	})
}

// TestAnyOfMany does as TestAnyOfN with more fragments than GF(2^8) can number.
func TestAnyOfMany(t *testing.T) {
	for seed, row := range []struct {
		length, maxBytes int
		share            float64
	}{{200_000, 340, 0.3}, {200_001, 341, 0.3}, {60_000, 260, 0.05}, {3_000, 32, 0.9}, {100_000, 700, 1}, {9_000, 48, 4}} {
		parcel, random := noise(row.length, 1), rand.New(rand.NewPCG(uint64(seed), 2))
		c, list := cutAll(t, parcel, row.maxBytes, row.share)
		if !c.wide() || c.Size%2 != 0 || list[0].Encode()[2] != formWide {
			t.Fatalf("%+v is no case of this test", c)
		}
		bodies := make([][]byte, c.Total())
		chosen := random.Perm(c.Total())[:c.Data]
		for _, place := range chosen {
			bodies[place] = list[place].Body
		}
		if got, err := c.Join(bodies); err != nil || !bytes.Equal(got, parcel) {
			t.Errorf("%+v: %d bytes, %v", c, len(got), err)
		}
		bodies[chosen[0]] = nil
		there := func(place int) bool { return bodies[place] != nil }
		request, ok := c.Missing(there)
		if _, err := c.Join(bodies); !errors.Is(err, ErrNotWhole) || c.Lacking(there) != 1 || !ok || len(request.Missing) != 1 {
			t.Errorf("without one: %v, lacks %d, asks for %v", err, c.Lacking(there), request.Missing)
		}
		bodies[request.Missing[0]] = list[request.Missing[0]].Body
		if _, err := c.Join(bodies); err != nil {
			t.Errorf("with the one that was asked for: %v", err)
		}
	}
}

// TestOverhead holds header and check to 16 bytes of a fragment, for a day of
// changes over a short-burst carrier and for a large parcel over mail.
func TestOverhead(t *testing.T) {
	for _, row := range []struct {
		name             string
		length, maxBytes int
		share            float64
		most             int
	}{
		{"a day of 2,000 changes, 340 bytes", 12_000, 340, 0, 13},
		{"the same with parity", 12_000, 340, 0.3, 14},
		{"50 kB", 50_000, 340, 0.3, 16},
		{"a photo, mails of 50 kB", 3 << 20, 50_000, 0.3, 14},
	} {
		parcel := noise(row.length, 7)
		c, list := cutAll(t, parcel, row.maxBytes, row.share)
		sum, most := 0, 0
		for _, f := range list {
			n := len(f.Encode()) - len(f.Body)
			sum, most = sum+n, max(most, n)
		}
		t.Logf("%s: %d + %d fragments of %d; header %.2f bytes, at most %d (%.2f %% of %d); all %d bytes, %.2f %% more than the parcel",
			row.name, c.Data, c.Parity, c.Size, float64(sum)/float64(len(list)), most, 100*float64(most)/float64(row.maxBytes), row.maxBytes,
			sum+c.Length+c.Parity*c.Size, 100*float64(sum+c.Parity*c.Size)/float64(c.Length))
		if most > row.most {
			t.Errorf("%s: a header of %d bytes; at most %d", row.name, most, row.most)
		}
	}
}

func TestPlanRefuses(t *testing.T) {
	for _, row := range []struct {
		name     string
		length   int
		maxBytes int
		share    float64
	}{
		{"nothing", 0, 340, 0}, {"too large", MaxParcel + 1, 340, 0}, {"all header", 100, MinBytes - 1, 0},
		{"parity below zero", 100, 340, -0.1}, {"too much parity", 100, 340, 4.1}, {"too many", 4 << 20, 32, 0},
	} {
		if c, err := Plan(make([]byte, row.length), row.maxBytes, row.share); err == nil {
			t.Errorf("%s: %+v", row.name, c)
		}
	}
}

// TestParseDamaged changes each byte of a fragment, and cuts it anywhere.
func TestParseDamaged(t *testing.T) {
	_, list := cutAll(t, noise(1000, 3), 340, 0.5)
	good := list[1].Encode()
	for i := range good {
		bad := slices.Clone(good)
		bad[i] ^= 0x10
		if f, err := Parse(bad); err == nil {
			t.Errorf("byte %d changed: reads as %+v", i, f)
		}
		if f, err := Parse(good[:i]); err == nil {
			t.Errorf("cut at %d: reads as %+v", i, f)
		}
	}
}

// TestHostileFragments mixes false fragments under the name of a parcel, with
// checks that fit.
func TestHostileFragments(t *testing.T) {
	parcel := noise(3000, 4)
	for _, row := range []struct {
		name  string
		share float64
		// variants are what came for each place, the latest first: t true, f and g
		// false, - nothing.
		variants []string
		want     error
	}{
		{"all true", 0, []string{"t", "t", "t", "t", "t", "t", "t", "t", "t", "t"}, nil},
		{"false ones came first", 0, []string{"tf", "tf", "tf", "tf", "tf", "tf", "tf", "tf", "tf", "tf"}, nil},
		{"false ones came last, for a few", 0, []string{"ft", "gft", "t", "t", "ft", "t", "t", "t", "t", "ft"}, nil},
		{"true one is missing", 0, []string{"t", "t", "f", "t", "t", "t", "t", "t", "t", "t"}, ErrFalse},
		{"parity instead of what is contested", 0.5, []string{"ft", "ft", "t", "t", "t", "t", "t", "t", "t", "t", "t", "t", "-", "-", "-"}, nil},
		{"parity instead of one that is false", 0.5, []string{"t", "t", "f", "t", "t", "t", "t", "t", "t", "t", "-", "t", "-", "-", "-"}, nil},
		{"too few", 0.5, []string{"t", "t", "f", "t", "t", "t", "t", "t", "t", "-", "-", "-", "-", "-", "-"}, ErrNotWhole},
	} {
		c, list := cutAll(t, parcel, 320, row.share)
		if len(row.variants) != c.Total() {
			t.Fatalf("%s: %d places, cut into %d", row.name, len(row.variants), c.Total())
		}
		variants := make([][][]byte, c.Total())
		for place, text := range row.variants {
			for _, letter := range text {
				body := slices.Clone(list[place].Body)
				switch letter {
				case 'f', 'g':
					body[0] ^= byte(letter)
				case '-':
					continue
				}
				variants[place] = append(variants[place], body)
			}
		}
		got, err := c.Resolve(variants)
		if !errors.Is(err, row.want) || err == nil && !bytes.Equal(got, parcel) {
			t.Errorf("%s: %d bytes, %v; want %v", row.name, len(got), err, row.want)
		}
	}
}

// TestHostileCutsStayApart: a fragment with another count or size is of another
// cut, and so in nobody's way.
func TestHostileCutsStayApart(t *testing.T) {
	parcel := noise(3000, 4)
	a, list := cutAll(t, parcel, 320, 0)
	forged := *list[3]
	forged.Body = forged.Body[:len(forged.Body)-1]
	forged.Size, forged.Length = a.Size-1, a.Data*(a.Size-1)-a.pad()
	f, err := Parse(forged.Encode())
	if err != nil {
		t.Fatal(err)
	}
	if f.Cut == a || f.Name != a.Name {
		t.Errorf("a fragment of another size has the cut %+v; the true one is %+v", f.Cut, a)
	}
}

func FuzzParse(f *testing.F) {
	for _, share := range []float64{0, 0.3} {
		_, list := cutAll(f, noise(700, 5), 340, share)
		for _, fragment := range list {
			f.Add(fragment.Encode())
		}
	}
	_, list := cutAll(f, noise(1500, 5), 32, 2.2) // over GF(2^16)
	f.Add(list[0].Encode())
	f.Add(list[len(list)-1].Encode())
	f.Fuzz(func(t *testing.T, data []byte) {
		// With its check put right, as a hostile sender would.
		for _, data := range [][]byte{data, resum(data)} {
			fragment, err := Parse(data)
			if err != nil {
				continue
			}
			if again := fragment.Encode(); !bytes.Equal(again, data) {
				t.Errorf("reads %x, writes %x", data, again)
			}
			if fragment.Length > 1<<16 || fragment.Total() > 300 {
				continue // memory is bounded by the check, time here is not
			}
			bodies := make([][]byte, fragment.Total())
			for place := range bodies {
				bodies[place] = make([]byte, fragment.bodySize(place))
			}
			clear(bodies[:min(fragment.Parity, fragment.Data)]) // so that parity is put to use
			if _, err := fragment.Join(bodies); err != nil && !errors.Is(err, ErrFalse) {
				t.Errorf("Join of %+v: %v", fragment.Cut, err)
			}
		}
	})
}

func resum(data []byte) []byte {
	if len(data) < checkSize {
		return data
	}
	end := len(data) - checkSize
	return append(slices.Clone(data[:end]), checkOf(data[:end])...)
}

// TestRoomHoldsForEveryLength: what is cut takes no more than was asked for, whatever
// its length within the room, and one byte more than that would.
func TestRoomHoldsForEveryLength(t *testing.T) {
	for _, maxBytes := range []int{MinBytes, 64, 100, 340, 1000} {
		for _, share := range []float64{0, 0.1, 0.3, 0.5, 1, 4} {
			for total := 20; total < 4000; total += 397 {
				room := Room(total, maxBytes, share)
				for length := 1; length <= room+1; length++ {
					size, err := wireSize(length, maxBytes, share)
					if err != nil {
						t.Fatal(err)
					}
					if length%61 == 0 {
						holds(t, length, maxBytes, share, size)
					}
					if length <= room && size > total {
						t.Fatalf("%d bytes in fragments of %d with parity %g take %d, more than %d: the room is said to be %d", length, maxBytes, share, size, total, room)
					}
				}
				n, err := wireSize(room+1, maxBytes, share)
				if err == nil && n <= total && room < total {
					t.Errorf("the room of %d in fragments of %d with parity %g is said to be %d; one more would fit", total, maxBytes, share, room)
				}
			}
		}
	}
}

// TestForms: the form must be that of the numbers.
func TestForms(t *testing.T) {
	for _, row := range []struct {
		name string
		cut  Cut
		form byte
		ok   bool
	}{
		{"none", Cut{Data: 5, Size: 2, Length: 10}, formPlain, true},
		{"up to 256", Cut{Data: 200, Parity: 56, Size: 3, Length: 600}, formParity, true},
		{"up to 256, said to be more", Cut{Data: 200, Parity: 56, Size: 4, Length: 800}, formWide, false},
		{"more", Cut{Data: 200, Parity: 57, Size: 4, Length: 800}, formWide, true},
		{"more, as before there was the form", Cut{Data: 200, Parity: 57, Size: 4, Length: 800}, formParity, false},
		{"more, of an odd size", Cut{Data: 200, Parity: 57, Size: 3, Length: 600}, formWide, false},
		{"the most", Cut{Data: 2048, Parity: 2048, Size: 2, Length: 4096}, formWide, true},
		{"one more", Cut{Data: 2049, Parity: 2048, Size: 2, Length: 4098}, formWide, false},
		{"newer", Cut{Data: 5, Size: 2, Length: 10}, formWide + 1, false},
	} {
		data := (&Fragment{Cut: row.cut, Body: make([]byte, row.cut.Size)}).Encode()
		data[2] = row.form
		if f, err := Parse(resum(data)); (err == nil) != row.ok || err == nil && f.Cut != row.cut {
			t.Errorf("%s: %+v, %v", row.name, f, err)
		}
	}
}

// TestNoSuchCut: numbers that nobody cuts into, but that a store may hold.
func TestNoSuchCut(t *testing.T) {
	for _, c := range []Cut{{Data: 200, Parity: 200, Size: 3, Length: 600}, {Data: 4000, Parity: 97, Size: 2, Length: 8000}} {
		bodies := make([][]byte, c.Total())
		for place := range bodies[100:] {
			bodies[100+place] = make([]byte, c.Size)
		}
		if _, err := c.Join(bodies); !errors.Is(err, ErrFalse) {
			t.Errorf("%+v: %v", c, err)
		}
	}
}

// TestRoomWhereTheCodeIsWide does so about where there are more fragments than GF(2^8) can
// number, of a size that is not even.
func TestRoomWhereTheCodeIsWide(t *testing.T) {
	for _, maxBytes := range []int{MinBytes, MinBytes + 1, 64, 65, 340} {
		for _, share := range []float64{0.1, 0.3, 1, 4} {
			for total := 230 * maxBytes; total < 290*maxBytes; total += 5*maxBytes + 7 {
				room, most := Room(total, maxBytes, share), 0
				for length := 1; length <= room+1; length++ {
					size, err := wireSize(length, maxBytes, share)
					if err != nil {
						t.Fatal(err)
					}
					if length <= room {
						most = max(most, size)
					} else if size <= total {
						t.Errorf("the room of %d in fragments of %d with parity %g is said to be %d; one more would fit", total, maxBytes, share, room)
					}
				}
				if most > total {
					t.Errorf("up to %d bytes in fragments of %d with parity %g take up to %d, more than %d", room, maxBytes, share, most, total)
				}
			}
		}
	}
}

// TestLargest: what is said to be the largest parcel can be cut, and one byte more cannot.
func TestLargest(t *testing.T) {
	for _, maxBytes := range []int{MinBytes, 64, 340, 1000, 50_000} {
		for _, share := range []float64{0, 0.3, 4} {
			largest := Largest(maxBytes, share)
			if _, err := Plan(make([]byte, largest), maxBytes, share); err != nil {
				t.Error(err)
			}
			if c, err := Plan(make([]byte, largest+1), maxBytes, share); err == nil {
				t.Errorf("%d bytes are said to be the most in fragments of %d with parity %g; %+v", largest, maxBytes, share, c)
			}
		}
	}
	if n := Largest(MinBytes-1, 0); n != 0 {
		t.Errorf("%d bytes in fragments that are all header", n)
	}
}

// holds checks that what is really cut takes at most so many bytes.
func holds(t *testing.T, length, maxBytes int, share float64, most int) {
	t.Helper()
	c, err := Plan(make([]byte, length), maxBytes, share)
	if err != nil {
		t.Fatal(err)
	}
	list, err := c.Fragments(make([]byte, length), nil)
	if err != nil {
		t.Fatal(err)
	}
	size := 0
	for _, f := range list {
		size += len(f)
	}
	if size > most {
		t.Errorf("%d bytes in fragments of %d with parity %g take %d, more than %d", length, maxBytes, share, size, most)
	}
}

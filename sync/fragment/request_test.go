package fragment

import (
	"bytes"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestRequestRoundTrip writes any request, in any room, as bytes and as text.
func TestRequestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := Request{Name: Name{1, 2, 3, 4}, Data: rapid.IntRange(1, 400).Draw(t, "data")}
		r.Parity = rapid.IntRange(0, r.Data).Draw(t, "parity")
		loss := rapid.Float64Range(0, 1).Draw(t, "loss")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		for place := range r.Total() {
			if random.Float64() < loss {
				r.Missing = append(r.Missing, place)
			}
		}
		if len(r.Missing) == 0 {
			r.Missing = []int{0}
		}
		room := rapid.SampledFrom([]int{0, 20, 100}).Draw(t, "room")
		data := r.Encode(room)
		got, err := ParseRequest(data)
		if err != nil || room > 0 && len(data) > room {
			t.Fatalf("%+v in %d bytes: %d, %v", r, room, len(data), err)
		}
		if n := len(got.Missing); got.Name != r.Name || got.Data != r.Data || got.Parity != r.Parity ||
			!slices.Equal(got.Missing, r.Missing[:n]) || got.Partial != (n < len(r.Missing)) {
			t.Fatalf("%+v reads as %+v", r, got)
		}
		text := strings.ToLower(strings.NewReplacer("-", " ", "0", "o", "1", "l").Replace(Code(data)))
		if typed, err := ParseCode(text); err != nil || !slices.Equal(typed.Missing, got.Missing) {
			t.Fatalf("%s reads as %+v, %v", text, typed, err)
		}
	})
}

// TestRequestSize holds requests for what is lost in practice to 100 bytes.
func TestRequestSize(t *testing.T) {
	for _, row := range []struct {
		total int
		loss  float64
		burst int // mean length of a run that is lost
		most  int
	}{
		{37, 0.05, 1, 16}, {37, 0.5, 1, 18}, {300, 0.05, 1, 40}, {300, 0.3, 1, 52}, {700, 0.5, 1, 100},
		{1000, 0.05, 1, 60}, {1000, 0.3, 20, 50}, {3000, 0.02, 1, 90}, {3000, 0.1, 50, 60},
	} {
		random, worst, sum := rand.New(rand.NewPCG(1, 2)), 0, 0
		for range 100 {
			r := Request{Data: row.total}
			for place := 0; place < row.total; place++ {
				if random.Float64() >= row.loss/float64(row.burst) {
					continue
				}
				for range min(1+random.IntN(2*row.burst-1), row.total-place) {
					r.Missing = append(r.Missing, place)
					place++
				}
			}
			if len(r.Missing) == 0 {
				continue
			}
			n := len(r.Encode(0))
			worst, sum = max(worst, n), sum+n
		}
		t.Logf("%d fragments, %g %% lost in runs of %d: %.0f bytes, at most %d", row.total, 100*row.loss, row.burst, float64(sum)/100, worst)
		if worst > row.most {
			t.Errorf("%+v: %d bytes", row, worst)
		}
	}
}

// TestMissingAsksForWhatIsNeeded: with parity no more than Data are needed.
func TestMissingAsksForWhatIsNeeded(t *testing.T) {
	c := Cut{Data: 10, Parity: 3, Size: 10, Length: 100}
	for _, row := range []struct {
		missing, want []int
	}{
		{[]int{}, nil},
		{[]int{1, 5, 11}, nil},
		{[]int{1, 5, 7, 11}, []int{1}},
		{[]int{0, 1, 2, 3, 4, 12}, []int{0, 1, 2}},
	} {
		r, ok := c.Missing(func(place int) bool { return !slices.Contains(row.missing, place) })
		if ok != (row.want != nil) || !slices.Equal(r.Missing, row.want) {
			t.Errorf("missing %v: asks for %v, %v; want %v", row.missing, r.Missing, ok, row.want)
		}
	}
}

// TestCodeMistyped: one wrong character does not ask for something else.
func TestCodeMistyped(t *testing.T) {
	code := Code(Request{Name: Name{0xab, 0xcd, 0xef, 1}, Data: 37, Missing: []int{2, 3, 17}}.Encode(100))
	if len(code) > 30 {
		t.Errorf("a code for three fragments: %s", code)
	}
	wrong := 0
	for i := range code {
		for _, letter := range codeAlphabet {
			typed := code[:i] + string(letter) + code[i+1:]
			if _, err := ParseCode(typed); err == nil && typed != code {
				wrong++
			}
		}
	}
	if wrong > 0 {
		t.Errorf("%d of %d mistyped codes are read as another request", wrong, 31*len(code))
	}
}

func FuzzParseRequest(f *testing.F) {
	for _, missing := range [][]int{{0}, {1, 2, 3, 9}, {4, 36}, readAll(nil, 37)} {
		f.Add(Request{Data: 37, Missing: missing}.Encode(0))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > requestCheckSize {
			end := len(data) - requestCheckSize
			data = append(slices.Clone(data[:end]), requestCheck(data[:end])...)
		}
		r, err := ParseRequest(data)
		if err != nil {
			return
		}
		if again := r.encode(); !bytes.Equal(again, data) {
			t.Errorf("reads %x, writes %x", data, again)
		}
		if typed, err := ParseCode(Code(data)); err != nil || len(typed.Missing) != len(r.Missing) {
			t.Errorf("%s: %v", Code(data), err)
		}
	})
}

package main

import (
	"encoding/binary"
	"math/rand/v2"
	"runtime"
	"testing"

	"pulk/sync/fragment"
)

// TestMemoryFragments gives the real program the largest parcels that can be cut,
// with what is false for each place, and measures the most memory that it had. The
// parcel is nothing that pulk knows, so it is refused once it is whole.
func TestMemoryFragments(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("the peak of a process is read as Linux tells it")
	}
	m := newMemory(t)
	for _, row := range []struct {
		name             string
		length, maxBytes int
		share            float64
		forged           int // for each place
		drop             int // of the first
		long             bool
	}{
		{"large", fragment.MaxParcel, 1_000_000, 0, 0, 0, false},
		{"large_forged", fragment.MaxParcel, 1_000_000, 0, 3, 0, false},
		{"parity", fragment.MaxParcel, 50_000, 0.4, 0, 40, false},
		{"parity_wide", 2 << 20, 1000, 0.4, 0, 500, false},
		{"small", 1 << 20, 340, 0, 0, 0, true},
	} {
		if testing.Short() && row.long {
			continue
		}
		t.Run(row.name, func(t *testing.T) {
			parcel := make([]byte, row.length)
			random := rand.New(rand.NewPCG(1, 2))
			for i := 0; i+8 <= len(parcel); i += 8 {
				binary.LittleEndian.PutUint64(parcel[i:], random.Uint64())
			}
			cut, err := fragment.Plan(parcel, row.maxBytes, row.share)
			if err != nil {
				t.Fatal(err)
			}
			list, err := cut.Fragments(parcel, nil)
			if err != nil {
				t.Fatal(err)
			}
			var parcels [][]byte
			for n := range row.forged {
				for _, data := range list {
					f, err := fragment.Parse(data)
					if err != nil {
						t.Fatal(err)
					}
					f.Body = append([]byte{f.Body[0] ^ byte(n+1)}, f.Body[1:]...)
					parcels = append(parcels, f.Encode())
				}
			}
			files := m.write(t, append(list[row.drop:], parcels...)) // false ones came last
			store := m.store(t)
			m.within(t, false, append([]string{"bundle", "take", "--store", store}, files...)...)
			m.within(t, true, "bundle", "missing", "--store", store)
		})
	}
}

package main

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"pulk/checklist/attach"
	"pulk/sync/bundle"
	"pulk/sync/bundle/daytest"
	"pulk/sync/carrier"
	"pulk/sync/seal"
)

// TestMemoryParcels does as TestMemory does with what a bundle is wrapped in, and
// with contents of attachments. See TestMemoryFragments for fragments.
func TestMemoryParcels(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("the peak of a process is read as Linux tells it")
	}
	m := newMemory(t)
	sealed := func(content []byte) []byte {
		parcel, err := seal.Seal(content, uint32(m.home), m.public)
		if err != nil {
			t.Fatal(err)
		}
		return parcel
	}
	largest := worstInputNamed(t, m, "change_sets")
	random := make([]byte, carrier.MaxFile-seal.Overhead)
	rand.NewChaCha8([32]byte{1}).Read(random)
	copy(random, bundle.Magic+"\x01\x00")
	photo := append(attach.Header{SizeBytes: attach.MaxContentBytes}.Append(nil), make([]byte, attach.MaxContentBytes)...)
	for _, input := range []struct {
		name    string
		taken   bool
		parcels [][]byte
	}{
		{"sealed_bundle", true, [][]byte{sealed(largest)}},
		{"sealed_garbage", false, [][]byte{sealed(random), sealed(random)}},
		{"content", false, [][]byte{photo, photo, photo}}, // that nothing here names
		{"sealed_content", false, [][]byte{sealed(photo), sealed(photo), sealed(photo)}},
	} {
		t.Run(input.name, func(t *testing.T) {
			files := m.write(t, input.parcels)
			store := m.store(t)
			m.within(t, input.taken, append([]string{"bundle", "take", "--store", store}, files...)...)
			folder := t.TempDir()
			for _, parcel := range input.parcels {
				name := carrier.NameOf(uint32(daytest.Station), uint32(m.home), "log", parcel).String()
				if err := os.WriteFile(filepath.Join(folder, name), parcel, 0o600); err != nil {
					t.Fatal(err)
				}
			}
			m.within(t, input.taken, "exchange", folder, "--store", store)
		})
	}
}

// worstInputNamed returns the last bundle of one of the worst inputs.
func worstInputNamed(t *testing.T, m *memory, name string) []byte {
	for _, input := range worstInputs() {
		if input.name == name {
			list := input.bundles(m.home)
			return list[len(list)-1]
		}
	}
	t.Fatalf("no worst input %s", name)
	return nil
}

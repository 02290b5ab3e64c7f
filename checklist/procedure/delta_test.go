package procedure_test

import (
	"bytes"
	"crypto/sha256"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pulk/checklist/procedure"
)

func read(name string) []byte {
	src, err := os.ReadFile(filepath.Join(proceduresFolder, name))
	if err != nil {
		panic(err)
	}
	return src
}

func mustParse(name string) *procedure.Procedure {
	p, problems := procedure.Parse(name, read(name))
	if p == nil {
		panic(render(problems))
	}
	return p
}

// A revised procedure of 29 kB with four small changes travels in under 1 kB.
func TestDeltaOfARevision(t *testing.T) {
	base, next := read("borehole-lowering.yaml"), read("borehole-lowering-d.yaml")
	delta := procedure.Delta(base, next)
	t.Logf("%d bytes travel as %d", len(next), len(delta))
	if len(delta) > 1000 {
		t.Errorf("delta of %d bytes; want at most 1000", len(delta))
	}
	if got, err := procedure.Patch(base, delta); err != nil || !bytes.Equal(got, next) {
		t.Errorf("Patch gives %d bytes, %v; want the %d of revision D", len(got), err, len(next))
	}
	if !bytes.Equal(delta, procedure.Delta(base, next)) {
		t.Error("two deltas of the same texts differ")
	}
}

// The bytes are a format that other sites read: they change only with the version.
func TestDeltaBytes(t *testing.T) {
	base := []byte("one one\ntwo two\nthree three\nfour four\n")
	next := []byte("three three\nfour four\nnew\none one\n")
	digest := sha256.Sum256(next)
	want := "\x01" + string(digest[:8]) + // version, digest of next
		"\x05\x04" + // copy 2 lines from line 0 + 2
		"\x08new\n" + // insert 4 bytes
		"\x03\x07" // copy 1 line from line 4 - 4
	if got := string(procedure.Delta(base, next)); got != want {
		t.Errorf("Delta = %q; want %q", got, want)
	}
}

// Lines from a small stock, so that base and next share, repeat and reorder them.
func randomText(t *rapid.T, label string) []byte {
	lines := rapid.SliceOf(rapid.SampledFrom([]string{"", "a", "steps:", "    kind: reading", "    text: Read the tension at rest.", "\x00\xff"})).Draw(t, label)
	text := strings.Join(lines, "\n")
	if rapid.Bool().Draw(t, label+" ends with a line feed") {
		text += "\n"
	}
	return []byte(text)
}

func TestPatchOfDelta(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		base, next := randomText(t, "base"), randomText(t, "next")
		got, err := procedure.Patch(base, procedure.Delta(base, next))
		if err != nil || !bytes.Equal(got, next) {
			t.Fatalf("Patch = %q, %v; want %q", got, err, next)
		}
	})
}

func TestPatchRefuses(t *testing.T) {
	base, next := []byte("first line\nsecond line\n"), []byte("first line\nthird line\n")
	good := procedure.Delta(base, next)
	with := func(operations ...byte) []byte { return append(bytes.Clone(good[:9]), operations...) }
	bomb := with(append([]byte{0x05, 0x00}, bytes.Repeat([]byte{0x05, 0x03}, 60_000)...)...) // 60,001 copies of both lines
	for _, c := range []struct {
		name        string
		base, delta []byte
		want        string
	}{
		{"empty", base, nil, "it ends inside an operation"},
		{"version", base, append([]byte{2}, good[1:]...), "version 2 is not known here"},
		{"other_base", []byte("zeroth line\nsecond line\n"), good, "this is not the revision it was made against"},
		{"short_base", nil, good, "lines outside a base of 0"},
		{"cut", base, good[:len(good)-1], "it ends inside an operation"},
		{"empty_operation", base, with(0), "an operation is empty"},
		{"empty_copy", base, with(1, 0), "an operation is empty"},
		{"outside", base, with(0x05, 0x02), "it copies lines 2 to 3 of a base of 2"},
		{"before", base, with(0x03, 0x01), "it copies lines 0 to 0 of a base of 2"},
		{"huge_insert", base, with(0xfe, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x01), "it ends inside an operation"},
		{"huge_copy", base, with(0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x01, 0), "lines outside a base of 2"},
		{"huge_step", base, with(0x03, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x01), "lines outside a base of 2"},
		{"bomb", base, bomb, "it makes a file of over 1048576 bytes"},
		{"base_too_large", make([]byte, procedure.SourceBytesMax+1), good, "its base has 1048577 bytes"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := procedure.Patch(c.base, c.delta)
			if err == nil || got != nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("Patch = %q, %v; want an error with %q", got, err, c.want)
			}
		})
	}
}

// Every changed bit of a delta is noticed.
func TestPatchNoticesEveryBit(t *testing.T) {
	base, next := []byte("first line\nsecond line\nfourth line\n"), []byte("first line\nthird line\nfourth line\n")
	good := procedure.Delta(base, next)
	for bit := range len(good) * 8 {
		bad := bytes.Clone(good)
		bad[bit/8] ^= 1 << (bit % 8)
		if got, err := procedure.Patch(base, bad); err == nil {
			t.Errorf("bit %d changed and Patch gave %q", bit, got)
		}
	}
}

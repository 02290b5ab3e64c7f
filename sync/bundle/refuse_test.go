package bundle

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"pulk/sync/change"
	"pulk/sync/clock"
)

func unhex(t *testing.T, text string) []byte {
	p, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestRefuseHeader changes single fields of check_off_raw.bundle, whose places
// stand in check_off_raw.txt.
func TestRefuseHeader(t *testing.T) {
	for _, c := range []struct {
		name     string
		at       int
		old, new string
		want     string
	}{
		{"other_file", 0, "b5", "b4", "no bundle"},
		{"newer_version", 2, "01", "02", "format version 2"},
		{"unknown_method", 3, "00", "03", "packed by method 3"},
		{"raw_all_packed", 3, "00", "80", "packed by method 128"},
		{"long_varint", 8, "03", "8300", "needless bytes"},
		{"too_many_sites", 8, "03", "8080808010", "claims"},
		{"no_addressee", 8, "03", "01", "missing"},
		{"to_itself", 13, "2fa96c33", "8e4b01d7", "from 8e4b01d7 to 8e4b01d7"},
		{"site_twice", 17, "c05571ae", "2fa96c33", "sites out of order"},
		{"site_unused", 8, "03 8e4b01d7 2fa96c33 c05571ae", "04 8e4b01d7 2fa96c33 c05571ae c05571af", "not needed"},
		{"clock_out_of_order", 28, "08", "0a", "out of order"},
		{"clock_number_zero", 36, "1f", "00", "out of order or range"},
		{"clock_claims_too_much", 27, "06", "ffff7f", "claims"},
		{"lane_of_no_site", 60, "10", "18", "site 3 of 3"},
		{"lane_extra_for_nothing", 47, "00", "0400", "written long"},
		{"lane_branch_zero", 60, "10", "140100000000", "branch 0"},
		{"statements_claimed", 67, "00", "05", "claims"},
		{"segments_claimed", 68, "01", "ffffff7f", "claims"},
		{"segment_of_another", 69, "00", "08", "no signature of its origin"},
		{"segment_from_zero", 70, "f520", "00", "from 0"},
		{"segment_of_none", 72, "01", "00", "claims 0"},
		{"segment_of_a_million_million", 72, "01", "808080808020", "claims 1099511627776"},
		{"statement_missing", 73, "00", "02", "statement 1 of 0"},
		{"hash_before_the_first", 70, "f520 01 00", "01 01 01" + strings.Repeat("00", 32), "carries the hash before it"},
		{"number_beyond_range", 70, "f520", "ffffffffffff01", "from"},
		{"column_cut_off", 89, "12", "", "left"},
		{"byte_after_columns", 89, "12", "1200", "1 bytes after the columns"},
		{"column_long_varint", 78, "0c", "8c00", "needless"},
		{"kind_unknown_below_64", 78, "0c", "3f", "newer program"},
		{"kind_zero", 78, "0c", "00", "kind 0"},
		{"person_form", 77, "01", "02", "bytes after"},
	} {
		t.Run(c.name, func(t *testing.T) {
			data := golden(t, "check_off_raw.bundle")
			old := unhex(t, c.old)
			if !bytes.Equal(data[c.at:c.at+len(old)], old) {
				t.Fatalf("byte %d is %x, expected %x: the table is out of date", c.at, data[c.at:c.at+len(old)], old)
			}
			bad := append(append(bytes.Clone(data[:c.at]), unhex(t, c.new)...), data[c.at+len(old):]...)
			wantRefused(t, bad, c.want)
		})
	}
}

func wantRefused(t *testing.T, data []byte, want string) {
	t.Helper()
	_, err := Decode(data, DefaultLimits)
	var fault *Error
	if !errors.As(err, &fault) || !strings.Contains(err.Error(), want) {
		t.Errorf("Decode: %v; want an error with %q", err, want)
	}
	if err := Dump(&bytes.Buffer{}, data); err == nil {
		t.Errorf("Dump takes what Decode refuses")
	}
}

// TestRefuseColumns forges columns of kinds_raw that no writer makes.
func TestRefuseColumns(t *testing.T) {
	for _, c := range []struct {
		name  string
		forge func(*table)
		want  string
	}{
		{"counter_zero", func(t *table) { t.counter.codes[0] = 0 }, "counter 0"},
		{"counter_large", func(t *table) { t.counter.codes[0] = 1 << 16 }, "counter 65536"},
		{"time_beyond_range", func(t *table) { t.timeHigh.codes[0] = 1 << 41 }, "time out of range"},
		{"backward_by_nothing", func(t *table) { t.timeHigh.codes[0], t.timeLow[0] = 0, 0; t.shape.codes[0] |= flagBackward }, "time out of range"},
		{"context_of_none", func(t *table) { t.seenCount.codes[0], t.seenCount.codes[1] = 0, 4 }, "0 rows of context"},
		{"context_out_of_order", swapContext, "out of order"},
		{"context_number_zero", func(t *table) { t.seenSeq.codes[1] = zigzag(-612) }, "number"},
		{"check_written_long", func(t *table) { t.seenForm.codes[0] = 0; t.checks = append(unhexNow("9e3779b1"), t.checks...) }, "check written long"},
		{"check_unknown", func(t *table) { t.seenForm.codes[1] = 1; t.checks = t.checks[4:] }, "form 1 of a check"},
		{"check_form", func(t *table) { t.seenForm.codes[0] = 7 }, "form 7 of a check"},
		{"ref_form", func(t *table) { t.person.codes[0] = 99; dropFirstRef(t) }, "form 99 of a ref"},
		{"ref_last_without_one", func(t *table) { t.person.codes[0] = formLast; dropFirstRef(t) }, "form 2 of a ref"},
		{"ref_written_long", repeatFirstRef, "written long"},
		{"ref_index", func(t *table) { t.refIndex.codes[0] = change.MaxChanges }, "ref to"},
		{"ref_lane_form", func(t *table) { t.refForm.codes[0] = 2; t.refLane.code.codes = t.refLane.code.codes[1:] }, "form 2 of a ref's lane"},
		{"scale", func(t *table) { t.kindOf(13).values[2].extra.codes[0] = zigzag(30) }, "digits after the point"},
		{"step_below_zero", func(t *table) { t.kindOf(12).values[1].code.codes[0] = zigzag(-5) }, "out of range"},
		{"number_beyond_63_bits", func(t *table) { t.kindOf(12).values[2].code.codes[0] = 1 << 63 }, "out of range"},
		{"text_not_utf8", func(t *table) { c := &t.kindOf(17).values[2]; c.texts[0] = "\xff" + c.texts[0][1:] }, "UTF-8"},
		{"text_of_a_million_million", func(t *table) { t.kindOf(17).values[2].extra.codes[0] = 1 << 40 }, "text of 1099511627776 bytes"},
		{"text_empty_but_new", func(t *table) { c := &t.kindOf(17).values[2]; c.extra.codes[0] = 0; c.texts[0] = "" }, "text written long"},
		{"kinds_claimed", func(t *table) { t.shape.codes[0] = 1 << 60 }, "claims"},
		{"changes_claimed", func(t *table) { t.shape.codes[0] = 19_000 << shapeBits }, "bytes left"},
	} {
		t.Run(c.name, func(t *testing.T) {
			data, err := encode(goldenKinds(), nil, func(table *table, sets int) ([]byte, byte, error) {
				c.forge(table)
				return forgedRaw(table, sets)
			})
			if err != nil {
				t.Fatal(err)
			}
			wantRefused(t, data, c.want)
		})
	}
}

func unhexNow(text string) []byte {
	p, _ := hex.DecodeString(text)
	return p
}

// dropFirstRef takes away the parts of the first new ref: person home/9.
func dropFirstRef(t *table) {
	t.refForm.codes, t.refLane.code.codes = t.refForm.codes[1:], t.refLane.code.codes[1:]
	t.refSeq.codes, t.refIndex.codes = t.refSeq.codes[1:], t.refIndex.codes[1:]
}

// swapContext puts the two rows of the first context the other way round.
func swapContext(t *table) {
	for _, c := range []*column{&t.seenLane.code, &t.seenSeq, &t.seenForm} {
		c.codes[0], c.codes[1] = c.codes[1], c.codes[0]
	}
}

// repeatFirstRef says the first person, home/9, in full where it comes again: as the
// sixth new ref, counted from home/11.
func repeatFirstRef(t *table) {
	t.person.codes[4] = formNew
	t.refForm.codes = slices.Insert(t.refForm.codes, 5, 1)
	t.refLane.code.codes = slices.Insert(t.refLane.code.codes, 4, t.refLane.code.codes[0])
	t.refSeq.codes = slices.Insert(t.refSeq.codes, 5, zigzag(-2))
	t.refIndex.codes = slices.Insert(t.refIndex.codes, 5, 0)
}

// forgedRaw writes columns as they are, whatever their lengths.
func forgedRaw(t *table, sets int) ([]byte, byte, error) {
	out := &bufferWriter{}
	w := &wire{packed: out, plain: out}
	write := func(c *column, id uint32) { w.numbers(c, len(c.codes), id) }
	write(&t.shape, idShape)
	write(&t.timeHigh, idTimeHigh)
	write(&t.counter, idCounter)
	write(&t.person, idPerson)
	write(&t.seenCount, idSeenCount)
	forgedLanes(w, &t.seenLane)
	write(&t.seenSeq, idSeenSeq)
	write(&t.seenForm, idSeenForm)
	write(&t.kinds, idKind)
	for _, k := range t.byKind {
		k.carry(w)
	}
	write(&t.refForm, idRefForm)
	forgedLanes(w, &t.refLane)
	write(&t.refSeq, idRefSeq)
	write(&t.refIndex, idRefIndex)
	t.carryTexts(w, out, 's')
	out.bytes(t.timeLow, place{})
	out.bytes(t.checks, place{})
	t.carryTexts(w, out, 'b')
	return out.buf, methodRaw, nil
}

func forgedLanes(w *wire, l *laneColumns) {
	w.numbers(&l.code, len(l.code.codes), idSeenLane)
	w.numbers(&l.extra, len(l.extra.codes), idSeenLane)
	w.numbers(&l.branch, len(l.branch.codes), idSeenLane)
}

func TestRefuseEveryTruncation(t *testing.T) {
	for _, name := range []string{"check_off.bundle", "check_off_raw.bundle", "relayed.bundle", "kinds_modelled.bundle", "kinds_zstd.bundle"} {
		data := golden(t, name)
		for n := range data {
			if _, err := Decode(data[:n], DefaultLimits); err == nil && holds(data[:n]) {
				t.Errorf("%s cut off after %d of %d bytes is taken", name, n, len(data))
			}
		}
	}
}

// holds reports whether a bundle decodes and its sender's signature holds.
func holds(data []byte) bool {
	b, err := Decode(data, DefaultLimits)
	return err == nil && b.Chain(goldenPrevious) == nil && b.VerifySender(testKey.Public().(ed25519.PublicKey))
}

func TestRefuseEveryFlippedBit(t *testing.T) {
	for _, name := range []string{"check_off.bundle", "check_off_raw.bundle", "relayed.bundle"} {
		data := golden(t, name)
		if !holds(data) {
			t.Fatalf("%s does not hold", name)
		}
		for bit := range 8 * len(data) {
			data[bit/8] ^= 1 << (bit % 8)
			if holds(data) {
				t.Errorf("%s with bit %d flipped is taken", name, bit)
			}
			data[bit/8] ^= 1 << (bit % 8)
		}
	}
}

// allocated returns how many bytes f allocates.
func allocated(f func()) uint64 {
	var before, after runtime.MemStats
	f() // pools are filled
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

// TestRefuseBombsInLittleMemory hands over bundles that claim or unpack to far more
// than they hold.
func TestRefuseBombsInLittleMemory(t *testing.T) {
	zeros := make([]byte, 32<<20)
	bomb := compress(zeros)
	terabyte := append([]byte{14}, unhex(t, "28b52ffd e0 0000000000010000 010000")[:14]...)
	packed := func(columns []byte, method byte) []byte {
		data, err := encode(goldenSingle(), nil, func(*table, int) ([]byte, byte, error) { return columns, method, nil })
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	manySets := func(columns []byte, method byte) []byte {
		data := packed(columns, method)
		return append(append(bytes.Clone(data[:72]), 0xa0, 0x9c, 0x01), data[73:]...) // 20,000 change-sets
	}
	for _, c := range []struct {
		name string
		data []byte
		want string
	}{
		{"zstd_bomb", packed(bomb, methodZstd|allPacked), "more than the limit"},
		{"zstd_claims_a_terabyte", packed(terabyte, methodZstd), "more than the limit"},
		{"zstd_frame_cut_off", packed(bomb[:len(bomb)-9], methodZstd), "cut off"},
		{"modelled_bomb", manySets(append([]byte{100}, make([]byte, 100)...), methodModel), "column shape"},
		{"raw_sets_claimed", manySets(make([]byte, 100), methodRaw), "bytes left"},
		{"zstd_sets_claimed", manySets(append(compress(make([]byte, 19_000)), zeros[:100]...), methodZstd), "bytes left"},
	} {
		t.Run(c.name, func(t *testing.T) {
			wantRefused(t, c.data, c.want)
			if got := allocated(func() { _, _ = Decode(c.data, DefaultLimits) }); got > 1<<20 {
				t.Errorf("Decode of %d bytes allocated %d", len(c.data), got)
			}
		})
	}
}

func TestRefuseBeyondLimits(t *testing.T) {
	data := golden(t, "kinds_raw.bundle")
	for name, lower := range map[string]func(*Limits){
		"bytes":   func(l *Limits) { l.Bytes = 100 },
		"sets":    func(l *Limits) { l.Sets = 10 },
		"changes": func(l *Limits) { l.Changes = 10 },
		"values":  func(l *Limits) { l.Values = 10 },
		"seen":    func(l *Limits) { l.Seen = 3 },
	} {
		limits := DefaultLimits
		lower(&limits)
		if _, err := Decode(data, limits); err == nil {
			t.Errorf("limit of %s is not kept", name)
		}
	}
}

// TestEncodeSaysTooLarge for what must be split, and nothing else.
func TestEncodeSaysTooLarge(t *testing.T) {
	b := goldenSingle()
	set := b.Segments[0].Sets[0]
	for len(set.Changes) < change.MaxChanges {
		set.Changes = append(set.Changes, set.Changes...)
	}
	for i := uint64(1); i <= 4; i++ {
		more := *set
		more.Seq += i
		b.Segments[0].Sets = append(b.Segments[0].Sets, &more)
	}
	if _, err := Encode(b, sign); !errors.Is(err, ErrTooLarge) {
		t.Errorf("Encode of 5 times 4,096 changes: %v; want ErrTooLarge", err)
	}
	b.Segments[0].Sets = nil
	if _, err := Encode(b, sign); err == nil || errors.Is(err, ErrTooLarge) {
		t.Errorf("Encode of an empty segment: %v; want another error than ErrTooLarge", err)
	}
	b.Segments = make([]Segment, MaxSegments+1)
	if _, err := Encode(b, sign); !errors.Is(err, ErrTooLarge) {
		t.Errorf("Encode of %d segments: %v; want ErrTooLarge", len(b.Segments), err)
	}
	b = goldenSingle()
	b.Statements = make([]Statement, maxStatements+1)
	if _, err := Encode(b, sign); !errors.Is(err, ErrTooLarge) {
		t.Errorf("Encode of %d statements: %v; want ErrTooLarge", len(b.Statements), err)
	}
}

// TestEncodeRefuses what could not be read.
func TestEncodeRefuses(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(*Bundle)
	}{
		{"other_campaign", func(b *Bundle) { b.Segments[0].Sets[0].Campaign++ }},
		{"gap", func(b *Bundle) { b.Segments[0].From-- }},
		{"other_lane", func(b *Bundle) { b.Segments[0].Sets[0].Lane.Epoch++ }},
		{"no_sets", func(b *Bundle) { b.Segments[0].Sets = nil }},
		{"to_itself", func(b *Bundle) { b.To = b.From }},
		{"clock_out_of_order", func(b *Bundle) { b.Clock[0], b.Clock[1] = b.Clock[1], b.Clock[0] }},
		{"negative_step", func(b *Bundle) { b.Segments[0].Sets[0].Changes[0].Values[1].Num = -1 }},
		{"missing_value", func(b *Bundle) { c := &b.Segments[0].Sets[0].Changes[0]; c.Values = c.Values[:2] }},
		{"unknown_kind_below_64", func(b *Bundle) { b.Segments[0].Sets[0].Changes[0].Kind = 63 }},
		{"class_beyond_3", func(b *Bundle) { b.Clock[5].Lane.Class = 4 }},
		{"branch_of_a_segment", func(b *Bundle) { b.Segments[0].Lane.Branch = 1; b.Segments[0].Sets[0].Lane.Branch = 1 }},
		{"context_of_own_lane", func(b *Bundle) { s := b.Segments[0].Sets[0]; s.Seen = []change.Seen{{Lane: s.Lane, Seq: 1}} }},
		{"ref_beyond_range", func(b *Bundle) { b.Segments[0].Sets[0].Changes[0].Values[0].Ref.Seq = clock.SeqMax + 1 }},
	} {
		b := goldenSingle()
		c.spoil(b)
		if _, err := Encode(b, sign); err == nil {
			t.Errorf("%s: Encode makes a bundle that no reader takes", c.name)
		}
	}
}

func FuzzDecode(f *testing.F) {
	paths, err := filepath.Glob(filepath.Join(goldenDir, "*.bundle"))
	if err != nil || len(paths) == 0 {
		f.Fatalf("no golden bundles: %v", err)
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := Decode(data, DefaultLimits)
		if dumped := Dump(&bytes.Buffer{}, data); (dumped == nil) != (err == nil) {
			t.Fatalf("Decode: %v, Dump: %v", err, dumped)
		}
		if err != nil {
			return
		}
		again, err := Encode(b, sign)
		if err != nil {
			t.Fatalf("Encode of what Decode took: %v", err)
		}
		c, err := Decode(again, DefaultLimits)
		if err != nil {
			t.Fatalf("Decode of what Encode made: %v", err)
		}
		sameBundle(t, c, b)
	})
}

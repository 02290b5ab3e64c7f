package change

import (
	"bytes"
	"encoding/hex"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pulk/schema/kind"
	"pulk/sync/clock"
)

func drawLane(t *rapid.T) clock.Lane {
	return clock.Lane{
		Site:  rapid.SampledFrom([]clock.SiteID{1, 2, 0xfffffffe}).Draw(t, "site"),
		Epoch: rapid.SampledFrom([]uint16{0, 0, 1, MaxEpoch}).Draw(t, "epoch"),
		Class: rapid.SampledFrom(clock.Classes).Draw(t, "class"),
	}
}

func drawRef(t *rapid.T, own clock.Lane) clock.Dot {
	lane := own
	switch rapid.IntRange(0, 4).Draw(t, "ref") {
	case 0:
		return clock.Dot{}
	case 1, 2:
		lane = drawLane(t)
	case 3:
		lane = drawLane(t)
		lane.Branch = rapid.Uint32Range(1, 1<<32-1).Draw(t, "branch")
	}
	return clock.Dot{Lane: lane, Seq: rapid.Uint64Range(1, clock.SeqMax).Draw(t, "seq"), Index: rapid.Uint16Range(0, MaxChanges-1).Draw(t, "index")}
}

func drawChange(t *rapid.T, own clock.Lane) Change {
	if rapid.IntRange(0, 7).Draw(t, "unknown") == 0 {
		raw := append([]byte{}, rapid.SliceOfN(rapid.Byte(), 0, 9).Draw(t, "raw")...)
		return Change{Kind: kind.ID(rapid.Uint32Range(1<<20, 1<<31).Draw(t, "kind")), Raw: raw}
	}
	k := rapid.SampledFrom(kind.All()).Draw(t, "kind")
	values := make([]Value, len(k.Columns))
	for i, column := range k.Columns {
		switch column.Type {
		case kind.Uint:
			values[i] = Num(rapid.Int64Range(0, 1<<63-1).Draw(t, column.Name))
		case kind.Int:
			values[i] = Num(rapid.Int64().Draw(t, column.Name))
		case kind.Decimal:
			values[i] = Value{Num: rapid.Int64().Draw(t, column.Name), Scale: rapid.Uint8Range(0, 18).Draw(t, column.Name)}
		case kind.Text:
			values[i] = Text(rapid.String().Draw(t, column.Name))
		case kind.Bytes:
			values[i] = Bytes(rapid.SliceOf(rapid.Byte()).Draw(t, column.Name))
		case kind.Ref:
			values[i] = Ref(drawRef(t, own))
		}
	}
	return New(k, values...)
}

func drawSet(t *rapid.T) *Set {
	s := &Set{Lane: drawLane(t), Seq: rapid.Uint64Range(1, clock.SeqMax).Draw(t, "number"), Campaign: rapid.Uint32().Draw(t, "campaign"),
		At: clock.Stamp(rapid.Uint64().Draw(t, "at")), Changes: []Change{}}
	s.Person = drawRef(t, s.Lane)
	for range rapid.IntRange(0, 3).Draw(t, "seen") {
		row := Seen{Lane: drawLane(t), Seq: rapid.Uint64Range(1, clock.SeqMax).Draw(t, "seen_seq"), Check: rapid.Uint32().Draw(t, "check")}
		if row.Lane != s.Lane && (len(s.Seen) == 0 || s.Seen[len(s.Seen)-1].Compare(row) < 0) {
			s.Seen = append(s.Seen, row)
		}
	}
	for range rapid.IntRange(0, 3).Draw(t, "changes") {
		s.Changes = append(s.Changes, drawChange(t, s.Lane))
	}
	return s
}

func TestParseIsInverseOfCanonical(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := drawSet(t)
		canonical := want.Canonical()
		got, err := Parse(want.Lane, want.Seq, canonical)
		if err != nil {
			t.Fatalf("Parse of %x: %v", canonical, err)
		}
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("Parse:\n got %+v\nwant %+v", got, want)
		}
		cut := rapid.IntRange(0, len(canonical)-1).Draw(t, "cut")
		if _, err := Parse(want.Lane, want.Seq, canonical[:cut]); err == nil {
			t.Fatalf("Parse takes %d of %d bytes", cut, len(canonical))
		}
	})
}

// checkOff is one change-set in canonical bytes, field by field as docs/bundle-format.md
// section 6 lays down.
const checkOff = "51d0c7e2 808080c4c5e2b9d101 03 2fa96c33 00 00 09 00 00 01 0c 06 01 a420 00 11 00"

func TestCanonicalBytes(t *testing.T) {
	lane := clock.Lane{Site: 0x8e4b01d7}
	set := &Set{Lane: lane, Seq: 4213, Campaign: 0x51d0c7e2, At: 0x01a2e7145880 << 16,
		Person:  clock.Dot{Lane: clock.Lane{Site: 0x2fa96c33}, Seq: 9},
		Changes: []Change{New(kind.StepCheck, Ref(clock.Dot{Lane: lane, Seq: 4132}), Num(17), Num(0))}}
	want := strings.ReplaceAll(checkOff, " ", "")
	if got := hex.EncodeToString(set.Canonical()); got != want {
		t.Errorf("Canonical:\n got %s\nwant %s", got, want)
	}
}

// TestParseRefuses changes single fields of checkOff, each to another encoding of
// something, or to nothing at all.
func TestParseRefuses(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"byte_too_many", "11 00", "11 00 00", "too many"},
		{"payload_too_long", "06 01 a420 00 11 00", "07 01 a420 00 11 00 00", "too many in a change"},
		{"trailing", "06 01 a420 00 11 00", "06 01 a420 00 11 00 00", "too many"},
		{"needless_bytes", "00 11 00", "00 9100", "needless"},
		{"own_site_long", "03 2fa96c33 00 00 09", "03 8e4b01d7 00 00 09", "own site written long"},
		{"own_lane_long", "03 2fa96c33 00 00 09", "02 00 09", "own lane written long"},
		{"unknown_ref_form", "03 2fa96c33", "05 2fa96c33", "unknown lane form"},
		{"number_zero", "00 00 09 00", "00 00 00 00", "sequence number 0"},
		{"kind_zero", "01 0c", "01 00", "change kind 0"},
		{"changes_claimed", "00 01 0c", "00 ff1f 0c", "claims"},
		{"context_claimed", "09 00 00", "09 00 ff1f", "claims"},
	} {
		text := strings.Replace(checkOff, c.old, c.new, 1)
		if text == checkOff {
			t.Fatalf("%s: %q is not in the example", c.name, c.old)
		}
		canonical, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if _, err := Parse(clock.Lane{Site: 0x8e4b01d7}, 4213, canonical); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: Parse: %v; want an error with %q", c.name, err, c.want)
		}
	}
}

func FuzzParse(f *testing.F) {
	seed, err := hex.DecodeString(strings.ReplaceAll(checkOff, " ", ""))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(seed)
	f.Fuzz(func(t *testing.T, canonical []byte) {
		set, err := Parse(clock.Lane{Site: 0x8e4b01d7}, 1, canonical)
		if err == nil && !bytes.Equal(set.Canonical(), canonical) {
			t.Fatalf("Parse takes %x, which is written %x", canonical, set.Canonical())
		}
	})
}

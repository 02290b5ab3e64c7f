package bundle

import (
	"bytes"
	"crypto/ed25519"

	"pgregory.net/rapid"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// The generators draw any bundle that can travel, likely or not.

var testSites = []clock.SiteID{0x11111111, 0x22222222, 0x33333333, 7, 0xffffffff}

func drawLane(t *rapid.T, label string, branches bool) clock.Lane {
	lane := clock.Lane{
		Site:  rapid.SampledFrom(testSites).Draw(t, label+"_site"),
		Epoch: rapid.SampledFrom([]uint16{0, 0, 0, 1, 300}).Draw(t, label+"_epoch"),
		Class: rapid.SampledFrom(clock.Classes).Draw(t, label+"_class"),
	}
	if branches {
		lane.Branch = rapid.SampledFrom([]uint32{0, 0, 0, 1, 0xcafe0000}).Draw(t, label+"_branch")
	}
	return lane
}

func drawSeq(t *rapid.T, label string) uint64 {
	if rapid.Bool().Draw(t, label+"_small") {
		return rapid.Uint64Range(1, 40).Draw(t, label)
	}
	return rapid.Uint64Range(1, clock.SeqMax).Draw(t, label)
}

func drawRef(t *rapid.T, own clock.Lane) clock.Dot {
	if rapid.IntRange(0, 5).Draw(t, "ref_none") == 0 {
		return clock.Dot{}
	}
	lane := own
	if rapid.Bool().Draw(t, "ref_other") {
		lane = drawLane(t, "ref", true)
	}
	return clock.Dot{Lane: lane, Seq: drawSeq(t, "ref_seq"), Index: uint16(rapid.IntRange(0, 3).Draw(t, "ref_index"))}
}

func drawValue(t *rapid.T, own clock.Lane, column kind.Column) change.Value {
	switch column.Type {
	case kind.Uint:
		return change.Num(rapid.OneOf(rapid.Int64Range(0, 90), rapid.Int64Range(0, 1<<63-1)).Draw(t, column.Name))
	case kind.Int:
		return change.Num(rapid.OneOf(rapid.Int64Range(-9, 90), rapid.Int64()).Draw(t, column.Name))
	case kind.Decimal:
		return change.Value{Num: rapid.OneOf(rapid.Int64Range(-999, 999), rapid.Int64()).Draw(t, column.Name),
			Scale: rapid.Uint8Range(0, 6).Draw(t, column.Name+"_scale")}
	case kind.Text:
		return change.Text(rapid.OneOf(rapid.SampledFrom([]string{"", "failed", "each"}), rapid.String()).Draw(t, column.Name))
	case kind.Bytes:
		return change.Bytes(rapid.SliceOfN(rapid.Byte(), 0, 70).Draw(t, column.Name))
	}
	return change.Ref(drawRef(t, own))
}

func drawChange(t *rapid.T, own clock.Lane) change.Change {
	if rapid.IntRange(0, 9).Draw(t, "unknown") == 0 {
		return change.Change{Kind: kind.ID(rapid.Uint32Range(1000, 1<<31).Draw(t, "kind")),
			Raw: rapid.SliceOfN(rapid.Byte(), 0, 30).Draw(t, "raw")}
	}
	k := rapid.SampledFrom(kind.All()).Draw(t, "kind")
	values := make([]change.Value, len(k.Columns))
	for i, column := range k.Columns {
		values[i] = drawValue(t, own, column)
	}
	return change.New(k, values...)
}

func drawSet(t *rapid.T, b *Bundle, lane clock.Lane, seq uint64) *change.Set {
	s := &change.Set{Lane: lane, Seq: seq, Campaign: b.Campaign, Person: drawRef(t, lane)}
	s.At = clock.Stamp(rapid.OneOf(rapid.Uint64Range(1<<55, 1<<55+1<<30), rapid.Uint64()).Draw(t, "at"))
	for range rapid.IntRange(0, 3).Draw(t, "seen") {
		row := change.Seen{Lane: drawLane(t, "seen", false), Seq: drawSeq(t, "seen_seq"), Check: rapid.Uint32().Draw(t, "seen_check")}
		if len(b.Clock) > 0 && rapid.Bool().Draw(t, "seen_known") {
			ack := rapid.SampledFrom(b.Clock).Draw(t, "seen_ack")
			row = change.Seen{Lane: ack.Lane.Base(), Seq: ack.Seq, Check: ack.Check}
		}
		if row.Lane != lane && (len(s.Seen) == 0 || s.Seen[len(s.Seen)-1].Compare(row) < 0) {
			s.Seen = append(s.Seen, row)
		}
	}
	for range rapid.IntRange(0, 4).Draw(t, "changes") {
		s.Changes = append(s.Changes, drawChange(t, lane))
	}
	return s
}

func drawHash(t *rapid.T, label string) (h change.Hash) {
	copy(h[:], rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, label))
	return h
}

func drawBundle(t *rapid.T) *Bundle {
	b := &Bundle{Campaign: rapid.Uint32().Draw(t, "campaign"), From: testSites[0], To: rapid.SampledFrom(testSites[1:]).Draw(t, "to"),
		At: clock.Stamp(rapid.Uint64Range(0, 1<<48-1).Draw(t, "at") << 16)}
	acks := clock.Vector{}
	for range rapid.IntRange(0, 6).Draw(t, "acks") {
		acks[drawLane(t, "ack", true)] = drawSeq(t, "ack_seq")
	}
	for _, lane := range acks.Lanes() {
		b.Clock = append(b.Clock, Ack{lane, acks[lane], rapid.Uint32().Draw(t, "ack_check")})
	}
	for range rapid.IntRange(0, 4).Draw(t, "segments") {
		drawSegment(t, b)
	}
	return b
}

// drawSegment adds a segment, with a statement of its own where it is relayed.
func drawSegment(t *rapid.T, b *Bundle) {
	s := Segment{Lane: drawLane(t, "segment", false), From: rapid.Uint64Range(1, 30).Draw(t, "from"), Statement: -1}
	if s.From > 1 && rapid.Bool().Draw(t, "previous") {
		previous := drawHash(t, "previous_hash")
		s.Previous = &previous
	}
	for i := range rapid.IntRange(1, 4).Draw(t, "sets") {
		s.Sets = append(s.Sets, drawSet(t, b, s.Lane, s.From+uint64(i)))
	}
	if s.Lane.Site != b.From || s.Lane.Confined() {
		computed := rapid.Bool().Draw(t, "computed")
		statement := Statement{Site: s.Lane.Site, Envelope: drawHash(t, "envelope"), Computed: []bool{computed}}
		if s.Lane.Site == b.From {
			statement.Envelope = [32]byte{}
		}
		head := Head{Lane: s.Lane, Seq: s.To()}
		if !computed {
			head.Hash = drawHash(t, "head_hash")
		}
		statement.Heads = []Head{head}
		copy(statement.Signature[:], bytes.Repeat([]byte{byte(s.From)}, 64))
		s.Statement = len(b.Statements)
		b.Statements = append(b.Statements, statement)
	}
	b.Segments = append(b.Segments, s)
}

// testKey is the secret key of RFC 8032, section 7.1, test 1, as seed.
var testKey = ed25519.NewKeyFromSeed([]byte("\x9d\x61\xb1\x9d\xef\xfd\x5a\x60\xba\x84\x4a\xf4\x92\xec\x2c\xc4\x44\x49\xc5\x69\x7b\x32\x69\x19\x70\x3b\xac\x03\x1c\xae\x7f\x60"))

func sign(message []byte) []byte { return ed25519.Sign(testKey, message) }

// testKey2 is that of test 2.
var testKey2 = []byte("\x4c\xcd\x08\x9b\x28\xff\x96\xda\x9d\xb6\xc3\x46\xec\x11\x4e\x0f\x5b\x8a\x31\x9f\x35\xab\xa6\x24\xda\x8c\xf6\xed\x4f\xb8\xa6\xfb")

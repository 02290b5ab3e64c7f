package bundle

import (
	"bytes"
	"crypto/ed25519"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

var update = flag.Bool("update", false, "write testdata/bundle anew; a released version's files stay")

const goldenDir = "../../testdata/bundle"

const (
	goldenStation = clock.SiteID(0x8e4b01d7)
	goldenHome    = clock.SiteID(0x2fa96c33)
	goldenShip    = clock.SiteID(0xc05571ae)
)

func goldenLane(site clock.SiteID, class clock.Class) clock.Lane {
	return clock.Lane{Site: site, Class: class}
}

func goldenDot(site clock.SiteID, class clock.Class, seq uint64, index uint16) clock.Dot {
	return clock.Dot{Lane: goldenLane(site, class), Seq: seq, Index: index}
}

var goldenTime = time.Date(2027, 1, 5, 18, 20, 0, 0, time.UTC)

// goldenSingle is one check-off.
func goldenSingle() *Bundle {
	station := goldenLane(goldenStation, clock.Normal)
	set := &change.Set{Lane: station, Seq: 4213, Campaign: 0x51d0c7e2, At: fineStamp(goldenTime.Add(-95_250 * time.Millisecond)),
		Person: goldenDot(goldenHome, clock.Normal, 9, 0)}
	set.Changes = []change.Change{change.New(kind.StepCheck, change.Ref(goldenDot(goldenStation, clock.Normal, 4180, 0)), change.Num(17), change.Num(0))}
	return &Bundle{Campaign: 0x51d0c7e2, From: goldenStation, To: goldenHome, At: fineStamp(goldenTime),
		Clock: []Ack{
			{goldenLane(goldenHome, clock.Normal), 612, 0x9e3779b1}, {goldenLane(goldenHome, clock.Expedited), 31, 0x3c6ef362},
			{goldenLane(goldenHome, clock.Bulk), 17, 0xdaa66d13}, {station, 4213, 0x78dde6c4},
			{goldenLane(goldenStation, clock.Expedited), 61, 0x17156075}, {goldenLane(goldenShip, clock.Normal), 240, 0xb54cda26},
		},
		Segments: []Segment{{Lane: station, From: 4213, Sets: []*change.Set{set}, Statement: -1}}}
}

// goldenKinds has a change of each of the first 31 kinds and of one that this
// program does not know, contexts, counters, a clock that ran backwards, epochs and a branch.
func goldenKinds() *Bundle {
	b := goldenSingle()
	b.Clock = append(b.Clock, Ack{clock.Lane{Site: goldenShip, Epoch: 2, Class: clock.Bulk}, 5, 1}, Ack{clock.Lane{Site: goldenShip, Epoch: 2, Class: clock.Bulk, Branch: 0xcafe}, 4, 2})
	lane := clock.Lane{Site: goldenStation, Epoch: 1}
	s := Segment{Lane: lane, From: 1, Statement: -1}
	for i, k := range kind.All()[:31] { // later ones are not in these files
		set := &change.Set{Lane: lane, Seq: uint64(i + 1), Campaign: b.Campaign, Person: goldenDot(goldenHome, 0, uint64(9+i%3), 0),
			At: fineStamp(goldenTime.Add(time.Duration(i*i-20*i) * time.Second))}
		if i%5 == 2 {
			set.At += clock.Stamp(i)
			set.Seen = []change.Seen{{Lane: goldenLane(goldenHome, clock.Normal), Seq: 612, Check: 0x9e3779b1}, {Lane: clock.Lane{Site: goldenShip, Epoch: 2}, Seq: uint64(i), Check: 77}}
		}
		set.Changes = []change.Change{goldenChange(k, i, lane)}
		if i == 9 {
			set.Changes = append(set.Changes, change.Change{Kind: 70, Raw: []byte{1, 2, 3}}, goldenChange(k, i+1, lane), change.Change{Kind: 70, Raw: []byte{}})
		}
		s.Sets = append(s.Sets, set)
	}
	b.Segments = append(b.Segments, s)
	return b
}

// goldenStock has a change of each kind from 130 to 139, whose columns travel with them.
func goldenStock() *Bundle {
	b := goldenSingle()
	lane := goldenLane(goldenStation, clock.Normal)
	var s Segment
	for i := range 10 {
		k := kind.Lookup(kind.ID(130 + i))
		s.Sets = append(s.Sets, &change.Set{Lane: lane, Seq: uint64(4213 + i), Campaign: b.Campaign, Person: goldenDot(goldenHome, 0, 9, 0),
			At: fineStamp(goldenTime.Add(time.Duration(i) * time.Minute)), Changes: []change.Change{goldenChange(k, i, lane), goldenChange(k, i+1, lane)}})
	}
	s.Lane, s.From, s.Statement = lane, 4213, -1
	b.Segments = []Segment{s}
	return b
}

func goldenChange(k *kind.Kind, i int, lane clock.Lane) change.Change {
	values := make([]change.Value, len(k.Columns))
	for j, column := range k.Columns {
		n := int64(i + 3*j)
		switch column.Type {
		case kind.Uint:
			values[j] = change.Num(n * n * n)
		case kind.Int:
			values[j] = change.Num(5 - n*n)
		case kind.Decimal:
			values[j] = change.Value{Num: 1000 - 77*n, Scale: uint8(n % 4)}
		case kind.Text:
			values[j] = change.Text([]string{"", "Größe 3 mm", "failed", "a longer text, longer than those that are recalled: 64 bytes at most, so this one is not", "each"}[n%5])
		case kind.Bytes:
			values[j] = change.Bytes(bytes.Repeat([]byte{byte(n)}, int(n%7)))
		case kind.Ref:
			values[j] = change.Ref([]clock.Dot{{}, {Lane: lane, Seq: 1}, goldenDot(goldenHome, clock.Bulk, 2, uint16(n)), {Lane: clock.Lane{Site: goldenShip, Epoch: 2, Branch: 0xcafe}, Seq: 3}}[n%4])
		}
	}
	return change.New(k, values...)
}

// goldenRelayed is sent on by the station, with what the ship wrote and signed.
func goldenRelayed() *Bundle {
	b := goldenSingle()
	lane := goldenLane(goldenShip, clock.Normal)
	previous := change.Hash(bytes.Repeat([]byte{7}, 32))
	s := Segment{Lane: lane, From: 239, Previous: &previous, Statement: 0}
	for i := range 2 {
		s.Sets = append(s.Sets, &change.Set{Lane: lane, Seq: 239 + uint64(i), Campaign: b.Campaign, At: fineStamp(goldenTime.Add(time.Duration(i-9) * time.Hour)),
			Changes: []change.Change{change.New(kind.RunNote, change.Ref(goldenDot(goldenStation, 0, 4180, 0)), change.Num(0), change.Text("crate 14 is on deck"))}})
	}
	b.Segments = append(b.Segments, s)
	b.Statements = []Statement{{Site: goldenShip, Envelope: [32]byte{9, 9}, Computed: []bool{false, true},
		Heads: []Head{{Lane: lane, Seq: 100, Hash: change.Hash{1, 2, 3}}, {Lane: lane, Seq: 240}}}}
	if err := b.Chain(goldenPrevious); err != nil {
		panic(err)
	}
	ship := ed25519.NewKeyFromSeed(testKey2)
	copy(b.Statements[0].Signature[:], ed25519.Sign(ship, b.Statements[0].Message()))
	b.Statements[0].Heads[1].Hash = change.Hash{}
	return b
}

// goldenConfined brings what the station wrote for named sites alone beside a check-off.
func goldenConfined() *Bundle {
	b := goldenSingle()
	lane := goldenLane(goldenStation, clock.Confined)
	b.Clock = slices.Insert(b.Clock, 5, Ack{lane, 3, 0x0badcafe})
	set := &change.Set{Lane: lane, Seq: 3, Campaign: b.Campaign, At: fineStamp(goldenTime.Add(-time.Hour)), Person: goldenDot(goldenHome, clock.Normal, 9, 0),
		Seen:    []change.Seen{{Lane: goldenLane(goldenHome, clock.Confined), Seq: 2, Check: 0x5eed5eed}},
		Changes: []change.Change{change.New(kind.Void, change.Ref(clock.Dot{Lane: lane, Seq: 2}), change.Value{}, change.Text("wrong day"))}}
	b.Segments = append(b.Segments, Segment{Lane: lane, From: 3, Sets: []*change.Set{set}, Statement: 0})
	b.Statements = []Statement{{Site: goldenStation, Computed: []bool{true}, Heads: []Head{{Lane: lane, Seq: 3}}}}
	if err := b.Chain(goldenPrevious); err != nil {
		panic(err)
	}
	copy(b.Statements[0].Signature[:], ed25519.Sign(testKey, b.Statements[0].Message()))
	b.Statements[0].Heads[0].Hash = change.Hash{}
	return b
}

// goldenPrevious stands for the addressee's log.
func goldenPrevious(lane clock.Lane, seq uint64) (change.Hash, bool) {
	return change.Hash{byte(seq)}, true
}

var goldens = []struct {
	name    string
	content func() *Bundle
	pack    packer
}{
	{"check_off_raw", goldenSingle, packRaw},
	{"check_off", goldenSingle, pack},
	{"empty", func() *Bundle { b := goldenSingle(); b.Segments = nil; return b }, packRaw},
	{"relayed", goldenRelayed, packRaw},
	{"confined", goldenConfined, packRaw},
	{"kinds_raw", goldenKinds, packRaw},
	{"kinds_modelled", goldenKinds, packModelled},
	{"kinds_all_modelled", goldenKinds, packAllModelled},
	{"kinds_zstd", goldenKinds, packZstd},
	{"stock_raw", goldenStock, packRaw},
	{"stock", goldenStock, pack},
	{"primer", primerBundle, packRaw},
}

func packModelled(t *table, sets int) ([]byte, byte, error) {
	plain := &bufferWriter{}
	t.carry(&wire{packed: &bufferWriter{}, plain: plain}, sets)
	return append(t.modelled(sets, false), plain.buf...), methodModel, nil
}

func packAllModelled(t *table, sets int) ([]byte, byte, error) {
	return t.modelled(sets, true), methodModel | allPacked, nil
}

func packZstd(t *table, sets int) ([]byte, byte, error) {
	all, _, err := packRaw(t, sets)
	return compress(all), methodZstd | allPacked, err
}

func golden(t testing.TB, name string) []byte {
	data, err := os.ReadFile(filepath.Join(goldenDir, name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func TestGolden(t *testing.T) {
	for _, g := range goldens {
		t.Run(g.name, func(t *testing.T) {
			b := g.content()
			if err := b.Chain(goldenPrevious); err != nil {
				t.Fatal(err)
			}
			data, err := encode(b, sign, g.pack)
			if err != nil {
				t.Fatal(err)
			}
			var text bytes.Buffer
			if err := Dump(&text, data); err != nil {
				t.Fatal(err)
			}
			if *update {
				write(t, g.name+".bundle", data)
				write(t, g.name+".txt", text.Bytes())
			}
			old := golden(t, g.name+".bundle")
			// What zstd makes of the columns may change with its version.
			if g.name != "kinds_zstd" && !bytes.Equal(old, data) {
				t.Errorf("Encode makes %d other bytes than %s.bundle has", len(data), g.name)
			}
			got, err := Decode(old, DefaultLimits)
			if err != nil {
				t.Fatal(err)
			}
			if err := got.Chain(goldenPrevious); err != nil {
				t.Fatal(err)
			}
			if !got.VerifySender(testKey.Public().(ed25519.PublicKey)) {
				t.Errorf("the sender's signature does not hold")
			}
			text.Reset()
			if err := Dump(&text, old); err != nil || text.String() != string(golden(t, g.name+".txt")) {
				t.Errorf("Dump (%v) differs from %s.txt:\n%s", err, g.name, text.String())
			}
		})
	}
}

func write(t *testing.T, name string, data []byte) {
	if err := os.WriteFile(filepath.Join(goldenDir, name), data, 0o666); err != nil {
		t.Fatal(err)
	}
}

func TestRelayedStatementHolds(t *testing.T) {
	b, err := Decode(golden(t, "relayed.bundle"), DefaultLimits)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Chain(goldenPrevious); err != nil {
		t.Fatal(err)
	}
	key := ed25519.NewKeyFromSeed(testKey2).Public().(ed25519.PublicKey)
	if !b.Statements[0].Verify(key) {
		t.Errorf("the ship's signature does not hold at home")
	}
	b.Segments[1].Sets[0].Changes[0].Values[2].Text = "crate 15 is on deck"
	if err := b.Chain(goldenPrevious); err != nil {
		t.Fatal(err)
	}
	if b.Statements[0].Verify(key) {
		t.Errorf("the ship's signature holds over words it did not write")
	}
}

// TestReaderWrittenFromTheDocument runs a reader in another language, which knows
// only docs/bundle-format.md, on the golden bundles.
func TestReaderWrittenFromTheDocument(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("python3 is not here: the independent reader was not run")
	}
	for _, g := range goldens {
		if g.name == "kinds_zstd" {
			continue // Python has no zstd of its own
		}
		out, err := exec.Command(python, filepath.Join(goldenDir, "reader.py"), filepath.Join(goldenDir, g.name+".bundle")).CombinedOutput()
		if err != nil {
			t.Errorf("reader.py %s.bundle: %v\n%s", g.name, err, out)
			continue
		}
		want := changeSetLines(string(golden(t, g.name+".txt")))
		if strings.HasPrefix(g.name, "stock") {
			want = changeSetLines(dumpOfEarlier(t, golden(t, g.name+".bundle"))) // the reader knows kinds below 64 alone
		}
		if string(out) != want {
			t.Errorf("reader.py reads %s.bundle otherwise:\n got %s\nwant %s", g.name, out, want)
		}
	}
}

// dumpOfEarlier is what a program says of a bundle that knows no kind whose columns
// travel.
func dumpOfEarlier(t *testing.T, data []byte) string {
	defer kind.Until(kind.FirstDescribed, kind.FieldAttachWanted)()
	var text bytes.Buffer
	if err := Dump(&text, data); err != nil {
		t.Fatal(err)
	}
	return text.String()
}

// changeSetLines returns the lines of a dump from the first change-set on.
func changeSetLines(text string) string {
	at := strings.Index(text, "change-set ")
	if strings.HasPrefix(text[max(0, at):], "change-sets") || at < 0 {
		at = strings.Index(text, "\nchange-set ") + 1
	}
	if at <= 0 {
		at = strings.Index(text, "envelope   SHA")
	}
	return text[at:]
}

// fineStamp returns the stamp of a time to the millisecond, which the format can
// carry, though sites read their clocks more coarsely (clock.Tick).
func fineStamp(t time.Time) clock.Stamp { return clock.Stamp(t.UnixMilli()) << 16 }

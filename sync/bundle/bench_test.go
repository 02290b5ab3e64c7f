package bundle_test

import (
	"bytes"
	"encoding/base64"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/klauspost/compress/zstd"

	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/bundle/daytest"
	"pulk/sync/change"
	"pulk/sync/clock"
)

const daySeed = 20270105

// dayClock is what a station of three sites has heard of: six lanes.
func dayClock() []bundle.Ack {
	v := clock.Vector{
		{Site: daytest.Home}: 612, {Site: daytest.Home, Class: clock.Expedited}: 31, {Site: daytest.Home, Class: clock.Bulk}: 17,
		daytest.Normal: 1957, daytest.Expedited: 17, {Site: daytest.Ship}: 240,
	}
	var acks []bundle.Ack
	for i, lane := range v.Lanes() {
		acks = append(acks, bundle.Ack{Lane: lane, Seq: v[lane], Check: uint32(i+1) * 2654435761})
	}
	return acks
}

// bundleOf packs change-sets as the station would send them home.
func bundleOf(sets []*change.Set) *bundle.Bundle {
	last := sets[len(sets)-1].At.Time()
	b := &bundle.Bundle{Campaign: daytest.Campaign, From: daytest.Station, To: daytest.Home, At: clock.StampAt(last.Add(4 * time.Minute)), Clock: dayClock()}
	for _, lane := range []clock.Lane{daytest.Expedited, daytest.Normal} {
		s := bundle.Segment{Lane: lane, Statement: -1}
		for _, set := range sets {
			if set.Lane == lane {
				s.Sets = append(s.Sets, set)
			}
		}
		if len(s.Sets) > 0 {
			s.From = s.Sets[0].Seq
			b.Segments = append(b.Segments, s)
		}
	}
	return b
}

func changesOf(sets []*change.Set) (n int) {
	for _, set := range sets {
		n += len(set.Changes)
	}
	return n
}

func encode(tb testing.TB, b *bundle.Bundle) []byte {
	data, err := bundle.Encode(b, func([]byte) []byte { return make([]byte, 64) })
	if err != nil {
		tb.Fatal(err)
	}
	return data
}

// BenchmarkBundleDay packs the standard day, and reports how many bytes a change
// takes, all included, beside general ways to send the same facts, which carry
// neither acknowledgement nor signature:
//
//   - json: an object per change, ids as UUIDs;
//   - csv: a table, ids as UUIDs. Like json, and unlike what follows, its rows have
//     ids of their own, which whoever merges what several sites wrote needs;
//   - short-csv: no id for a row, entities numbered within the file: for reading,
//     not for merging;
//   - terse-csv: the same with all that can be predicted by hand taken out.
func BenchmarkBundleDay(b *testing.B) {
	sets := daytest.Day(daySeed)
	content, changes := bundleOf(sets), float64(changesOf(sets))
	size := 0
	for b.Loop() {
		size = len(encode(b, content))
	}
	b.ReportMetric(float64(size)/changes, "B/change")
	b.ReportMetric(float64(len(zstdBest(b, asJSON(b, sets))))/changes, "B/change-json-zstd")
	for name, table := range map[string][]byte{"csv": asCSV(b, sets, withIDs), "short-csv": asCSV(b, sets, short), "terse-csv": asCSV(b, sets, terse)} {
		b.ReportMetric(float64(len(zstdBest(b, table)))/changes, "B/change-"+name+"-zstd")
		if packed, ok := xzBest(b, table); ok {
			b.ReportMetric(float64(len(packed))/changes, "B/change-"+name+"-xz")
		}
	}
}

// BenchmarkDecodeDay unpacks the standard day.
func BenchmarkDecodeDay(b *testing.B) {
	data := encode(b, bundleOf(daytest.Day(daySeed)))
	for b.Loop() {
		if _, err := bundle.Decode(data, bundle.DefaultLimits); err != nil {
			b.Fatal(err)
		}
	}
}

func init() { bundle.SetStandardDay(someOf) }

// someOf returns a bundle of about so many changes from the middle of the day, or
// of the whole day.
func someOf(changes int) *bundle.Bundle {
	sets := daytest.Day(daySeed)
	if changes == 1 {
		return single()
	}
	if changes < 1000 {
		sets = sets[800 : 800+changes]
	}
	return bundleOf(sets)
}

// single is a bundle of one check-off, as it may go out by short-burst message.
func single() *bundle.Bundle {
	for _, set := range daytest.Day(daySeed)[800:] {
		if set.Changes[0].Kind == kind.StepCheck.ID && len(set.Seen) == 0 {
			return bundleOf([]*change.Set{set})
		}
	}
	panic("no check-off in the standard day")
}

func BenchmarkBundleSingle(b *testing.B) {
	content := single()
	size := 0
	for b.Loop() {
		size = len(encode(b, content))
	}
	b.ReportMetric(float64(size), "B/bundle")
}

func zstdBest(tb testing.TB, p []byte) []byte {
	w, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedBestCompression), zstd.WithEncoderCRC(false))
	if err != nil {
		tb.Fatal(err)
	}
	return w.EncodeAll(p, nil)
}

// xzBest runs xz -9e, which packs these tables better than the Go library for the
// format does; false where it is not installed.
func xzBest(tb testing.TB, p []byte) ([]byte, bool) {
	path, err := exec.LookPath("xz")
	if err != nil {
		tb.Log("xz is not installed: rivals packed by it are not measured")
		return nil, false
	}
	cmd := exec.Command(path, "-9e", "-c")
	cmd.Stdin = bytes.NewReader(p)
	packed, err := cmd.Output()
	if err != nil {
		tb.Fatal(err)
	}
	return packed, true
}

// uuidNames returns a function that gives every entity a UUID.
func uuidNames() func(clock.Dot) string {
	ids := rand.NewChaCha8([32]byte{1})
	uuids := map[clock.Dot]string{}
	return func(d clock.Dot) string {
		if d.IsZero() {
			return ""
		}
		if _, ok := uuids[d]; !ok {
			uuids[d] = uuid.Must(uuid.NewRandomFromReader(ids)).String()
		}
		return uuids[d]
	}
}

// asJSON writes one compact object per change, as a program that gives every row a
// UUID would send it.
func asJSON(tb testing.TB, sets []*change.Set) []byte {
	name := uuidNames()
	var buf bytes.Buffer
	for _, set := range sets {
		for i, c := range set.Changes {
			k := kind.Lookup(c.Kind)
			object := [][2]any{{"id", name(set.ID(i))}, {"kind", k.Name}, {"at", set.At.Time().Format("2006-01-02T15:04:05.000Z")}, {"person", name(set.Person)}}
			for j, column := range k.Columns {
				object = append(object, [2]any{column.Name, jsonValue(column, c.Values[j], name)})
			}
			buf.WriteByte('{')
			for j, field := range object {
				value, err := json.Marshal(field[1])
				if err != nil {
					tb.Fatal(err)
				}
				if j > 0 {
					buf.WriteByte(',')
				}
				fmt.Fprintf(&buf, "%q:%s", field[0], value)
			}
			buf.WriteString("}\n")
		}
	}
	return buf.Bytes()
}

func jsonValue(column kind.Column, value change.Value, name func(clock.Dot) string) any {
	switch {
	case column.Type == kind.Ref && value.Ref.IsZero():
		return nil
	case column.Type == kind.Ref:
		return name(value.Ref)
	case column.Type == kind.Text:
		return value.Text
	case column.Type == kind.Bytes:
		return []byte(value.Text)
	case column.Type == kind.Decimal:
		return json.RawMessage(value.Decimal().String())
	}
	return value.Num
}

// style is how far a table of the day is taken.
type style int

const (
	withIDs style = iota // each row has a UUID, and names others by theirs
	short                // no ids of rows; a number in the order of appearance for every entity
	terse                // also numbers for kinds, and milliseconds since the change before
)

// asCSV writes the same facts as a table, one line per change.
func asCSV(tb testing.TB, sets []*change.Set, how style) []byte {
	numbers := map[clock.Dot]string{}
	name := func(d clock.Dot) string {
		if d.IsZero() {
			return ""
		}
		if _, ok := numbers[d]; !ok {
			numbers[d] = strconv.Itoa(len(numbers))
		}
		return numbers[d]
	}
	if how == withIDs {
		name = uuidNames()
	}
	var buf bytes.Buffer
	w := csv.NewWriter(&buf)
	last := int64(0)
	for _, set := range sets {
		for i, c := range set.Changes {
			line := []string{kind.Lookup(c.Kind).Name, set.At.Time().Format("2006-01-02T15:04:05.000Z"), name(set.Person)}
			if how == withIDs {
				line = append(line, name(set.ID(i)))
			}
			if how == terse {
				line[0], line[1] = strconv.Itoa(int(c.Kind)), strconv.FormatInt(set.At.Millis()-last, 10)
			}
			last = set.At.Millis()
			for j, column := range kind.Lookup(c.Kind).Columns {
				switch column.Type {
				case kind.Ref:
					line = append(line, name(c.Values[j].Ref))
				case kind.Text:
					line = append(line, c.Values[j].Text)
				case kind.Bytes:
					line = append(line, base64.RawStdEncoding.EncodeToString([]byte(c.Values[j].Text)))
				case kind.Decimal:
					line = append(line, c.Values[j].Decimal().String())
				default:
					line = append(line, strconv.FormatInt(c.Values[j].Num, 10))
				}
			}
			if err := w.Write(line); err != nil {
				tb.Fatal(err)
			}
		}
	}
	w.Flush()
	return buf.Bytes()
}

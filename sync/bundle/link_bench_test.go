package bundle_test

import (
	"crypto/ed25519"
	"fmt"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"pulk/sync/bundle"
	"pulk/sync/bundle/daytest"
	"pulk/sync/change"
	"pulk/sync/seal"
)

// linkSizes are about how many changes are sent.
var linkSizes = []int{1, 10, 100, 2000}

// figure is one way to send so many changes.
type figure struct {
	way   string
	bytes int // in all
}

// linkFigures returns how many changes there are in the news of a size, and what
// they take: as a bundle, and as what rivals make of them whose tools are here.
func linkFigures(tb testing.TB, size int, rivals []rival) (changes int, figures []figure) {
	history, sets := news(size)
	data := encode(tb, bundleOf(sets))
	figures = []figure{{"columns", len(data) - headerSize(tb, bundleOf(sets))}, {"bundle", len(data)}, {"sealed", sealedSize(tb, data)}}
	for _, r := range rivals {
		if n, ok := r.size(tb, history, sets); ok {
			figures = append(figures, figure{r.name, n})
		}
	}
	return changesOf(sets), figures
}

// sealedSize returns the size of a bundle once it is sealed to its addressee.
func sealedSize(tb testing.TB, data []byte) int {
	sealed, err := seal.Seal(data, uint32(daytest.Home), daytest.Key().Public().(ed25519.PublicKey))
	if err != nil {
		tb.Fatal(err)
	}
	return len(sealed)
}

// BenchmarkLink packs the changes of a standard day that somebody lacks who has all
// before them, and reports how many bytes a change takes, all included, beside what
// general tools make of the same facts, in the same run. What these know and leave
// out docs/link.md tells. B.Loop times our own side alone.
func BenchmarkLink(b *testing.B) {
	changesetProgram(b) // once for all sizes
	for _, size := range linkSizes {
		b.Run(fmt.Sprint(size), func(b *testing.B) {
			changes, figures := linkFigures(b, size, rivals)
			_, sets := news(size)
			content := bundleOf(sets)
			var data []byte
			for b.Loop() {
				data = encode(b, content)
			}
			b.ReportMetric(decodeMillis(b, data), "ms-decode")
			for _, f := range figures {
				b.ReportMetric(float64(f.bytes)/float64(changes), "B/change-"+f.way)
			}
			if size == 2000 {
				share, bare := entropyShares(b, sets)
				b.ReportMetric(share, "x-entropy")
				b.ReportMetric(bare, "x-entropy-columns")
			}
		})
	}
}

// decodeMillis returns how long it takes to decode, the best of several.
func decodeMillis(tb testing.TB, data []byte) float64 {
	best := math.MaxFloat64
	for range 5 {
		start := time.Now()
		if _, err := bundle.Decode(data, bundle.DefaultLimits); err != nil {
			tb.Fatal(err)
		}
		best = min(best, float64(time.Since(start).Microseconds())/1000)
	}
	return best
}

// entropyShares returns the size of a bundle as a share of the order-0 entropy of
// its columns: of the whole, and without header and signature.
func entropyShares(tb testing.TB, sets []*change.Set) (share, bare float64) {
	b := bundleOf(sets)
	e, err := bundle.EntropyOf(b)
	if err != nil {
		tb.Fatal(err)
	}
	whole := len(encode(tb, b))
	return float64(whole) / e.Bytes(), float64(whole-headerSize(tb, b)) / e.Bytes()
}

// headerSize returns how many bytes of a bundle are no columns: header and signature.
func headerSize(tb testing.TB, b *bundle.Bundle) int {
	n, err := bundle.ColumnBytes(b)
	if err != nil {
		tb.Fatal(err)
	}
	return len(encode(tb, b)) - n
}

// TestLinkDocument holds the tables of docs/link.md to what is measured now. Tools
// of other versions may pack a little otherwise.
func TestLinkDocument(t *testing.T) {
	const path = "../../docs/link.md"
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	others := rivals
	if testing.Short() {
		others = rivals[:2] // that need no tool
	} else {
		changesetProgram(t) // once for all sizes
	}
	got := string(text)
	for _, size := range linkSizes {
		changes, figures := linkFigures(t, size, others)
		for _, f := range figures {
			got = holdCell(t, got, f.way, size, float64(f.bytes)/float64(changes))
		}
	}
	_, sets := news(2000)
	share, bare := entropyShares(t, sets)
	if share > 1.6 {
		t.Errorf("a day's bundle takes %.3f times the entropy of its columns, at most 1.6 are allowed", share)
	}
	got = holdCell(t, got, "x-entropy", 2000, share)
	got = holdCell(t, got, "x-entropy-columns", 2000, bare)
	if *bundle.Update && got != string(text) {
		if err := os.WriteFile(path, []byte(got), 0o666); err != nil {
			t.Fatal(err)
		}
	}
}

// tolerance is how much a figure may differ from the document's.
const tolerance = 0.02

// holdCell compares a figure with the document's, which stands in the row that names
// the way, in the column of the size, and returns the document with it put in.
func holdCell(t *testing.T, text, way string, size int, value float64) string {
	t.Helper()
	row := regexp.MustCompile("(?m)^.*`" + regexp.QuoteMeta(way) + "` \\|.*$").FindString(text)
	cells := strings.Split(row, "|")
	column := len(cells) - 1 - len(linkSizes)
	for i, s := range linkSizes {
		if s == size {
			column += i
		}
	}
	if strings.HasPrefix(way, "x-") { // a table of its own, of one column
		column = len(cells) - 2
	}
	if row == "" || column < 0 {
		t.Errorf("docs/link.md has no row for `%s`", way)
		return text
	}
	stands, err := strconv.ParseFloat(strings.TrimSpace(strings.ReplaceAll(cells[column], "*", "")), 64)
	if (err != nil || math.Abs(value-stands) > tolerance*value) && !*bundle.Update {
		t.Errorf("docs/link.md says %s for `%s` at %d changes; measured: %.2f. If that is right: go test ./sync/bundle -run TestLinkDocument -update", strings.TrimSpace(cells[column]), way, size, value)
	}
	cells[column] = fmt.Sprintf(" %.2f ", value)
	return strings.Replace(text, row, strings.Join(cells, "|"), 1)
}

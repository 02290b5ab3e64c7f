package attach

import (
	"bytes"
	"context"
	"testing"

	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// photo returns a picture as a camera makes it: 12 megapixels, noisy, about 3 MB and more.
func photo(b *testing.B) []byte { return asJPEG(b, quarters(4000, 3000, 35)) }

// BenchmarkPreviewPhoto makes the preview of a photo.
func BenchmarkPreviewPhoto(b *testing.B) {
	source := photo(b)
	b.SetBytes(int64(len(source)))
	b.ReportAllocs()
	var preview []byte
	for b.Loop() {
		var err error
		if preview, err = Preview(bytes.NewReader(source)); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(source)), "photo-bytes")
	b.ReportMetric(float64(len(preview)), "preview-bytes")
}

// BenchmarkAddPhoto takes a photo into a store and drops it again.
func BenchmarkAddPhoto(b *testing.B) {
	source, log := photo(b), newLog(b)
	b.SetBytes(int64(len(source)))
	for b.Loop() {
		write(b, log, func(tx *changelog.Tx) error {
			a, err := Add(tx, clock.Dot{Lane: clock.Lane{Site: tx.Self().Site}, Seq: 1}, NoStep, File{Name: "photo.jpg", Content: bytes.NewReader(source)})
			if err != nil {
				return err
			}
			a.Here = true
			return Drop(tx, a)
		})
	}
}

// BenchmarkTakePhoto takes the parcel of a photo.
func BenchmarkTakePhoto(b *testing.B) {
	source, log := photo(b), newLog(b)
	id, parcel := tell(b, log, source), parcelWith(source)
	b.SetBytes(int64(len(source)))
	for b.Loop() {
		if _, err := Take(context.Background(), log, bytes.NewReader(parcel), noon); err != nil {
			b.Fatal(err)
		}
		b.StopTimer()
		write(b, log, func(tx *changelog.Tx) error { return Drop(tx, find2(b, tx, id)) })
		b.StartTimer()
	}
}

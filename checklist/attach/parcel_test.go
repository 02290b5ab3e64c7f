package attach

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

var update = flag.Bool("update", false, "write testdata/golden.parcel anew; never that of a released version")

var noon = time.Date(2027, 1, 5, 12, 0, 0, 0, time.UTC)

const jacket = "the cable jacket, north side\n"

func newLog(t testing.TB) *changelog.Log {
	t.Helper()
	store, err := schema.Create(filepath.Join(t.TempDir(), "home.db"), schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	start := changelog.Start{CampaignName: "Vindur Deep", Code: "home", Name: "Tarn Institute", Now: noon, Rand: bytes.NewReader(make([]byte, 64))}
	log, err := changelog.Init(context.Background(), store, start, Projection{})
	if err != nil {
		t.Fatal(err)
	}
	return log
}

func write(t testing.TB, log *changelog.Log, fn func(tx *changelog.Tx) error) changelog.Receipt {
	t.Helper()
	receipt, err := log.Write(context.Background(), changelog.Author{Now: noon}, fn)
	if err != nil {
		t.Fatal(err)
	}
	return receipt
}

// tell writes that a file is attached whose content is not here, and that home wants it.
func tell(t testing.TB, log *changelog.Log, content []byte) clock.Dot {
	hash := sha256.Sum256(content)
	return write(t, log, func(tx *changelog.Tx) error {
		entity := clock.Dot{Lane: clock.Lane{Site: tx.Self().Site}, Seq: 1}
		id := tx.Add(change.New(kind.AttachAdd, change.Ref(entity), change.Num(0), change.Text("jacket.txt"), change.Text("text/plain"),
			change.Num(int64(len(content))), change.Bytes(hash[:]), change.Num(0), change.Bytes(nil), change.Text("")))
		tx.AssignText(id, kind.FieldAttachWanted, "home", kind.AttachWanted, "")
		return nil
	}).Dot()
}

func parcelWith(content []byte) []byte {
	h := Header{Hash: sha256.Sum256(content), SizeBytes: int64(len(content))}
	return append(h.Append(nil), content...)
}

func find(t testing.TB, log *changelog.Log, id clock.Dot) (a *Attachment) {
	t.Helper()
	if err := log.View(context.Background(), func(tx *changelog.Tx) (err error) { a, err = Find(tx, id); return err }); err != nil {
		t.Fatal(err)
	}
	return a
}

// TestGoldenParcel keeps the bytes of version 1, as docs/attachment-format.md spells
// them out.
func TestGoldenParcel(t *testing.T) {
	made := parcelWith([]byte(jacket))
	path := filepath.Join("testdata", "golden.parcel")
	if *update {
		if err := os.WriteFile(path, made, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	golden, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(golden, made) {
		t.Errorf("a parcel is made as %x, the golden one is %x", made, golden)
	}
	text, err := os.ReadFile("../../docs/attachment-format.md")
	if err != nil {
		t.Fatal(err)
	}
	var spelled []byte
	_, block, _ := strings.Cut(string(text), "```\n")
	block, _, _ = strings.Cut(block, "```")
	for _, line := range strings.Split(strings.TrimSpace(block), "\n") {
		words := strings.Fields(line)
		for _, word := range words[1:] {
			var b [1]byte
			if len(word) != 2 {
				break
			}
			if _, err := hexByte(word, &b[0]); err != nil {
				break
			}
			spelled = append(spelled, b[0])
		}
	}
	if !bytes.Equal(spelled, golden) {
		t.Errorf("docs/attachment-format.md spells %x", spelled)
	}
}

func hexByte(word string, b *byte) (int, error) {
	const digits = "0123456789abcdef"
	high, low := strings.IndexByte(digits, word[0]), strings.IndexByte(digits, word[1])
	if high < 0 || low < 0 {
		return 0, errors.New("no hex")
	}
	*b = byte(high<<4 | low)
	return 2, nil
}

// TestTakeIsWholeOrNothing cuts, damages and lengthens a parcel: each is refused, leaves
// no content behind, and the site goes on waiting; the whole one ends the wish.
func TestTakeIsWholeOrNothing(t *testing.T) {
	log := newLog(t)
	content := bytes.Repeat([]byte(jacket), 5000) // three chunks
	id := tell(t, log, content)
	parcel := parcelWith(content)
	bad := map[string][]byte{"longer": append(bytes.Clone(parcel), 0), "other version": append([]byte("\xb5a\x02"), parcel[3:]...), "other magic": append([]byte("\xb5p\x01"), parcel[3:]...)}
	for _, n := range []int{0, 1, 2, 3, 20, 34, 35, 36, 38, 39, 40, 1000, 64<<10 + 38, len(parcel) - 1} {
		bad[strings.Repeat("cut ", 1)+string(rune('a'+len(bad)))] = parcel[:n]
	}
	damaged := bytes.Clone(parcel)
	damaged[70000] ^= 1
	bad["damaged"] = damaged
	for name, parcel := range bad {
		_, err := Take(context.Background(), log, bytes.NewReader(parcel), noon)
		var refused *ParcelError
		if !errors.As(err, &refused) {
			t.Errorf("%s: %v", name, err)
		}
		if a := find(t, log, id); a.Here || len(a.Wanted) != 1 {
			t.Fatalf("%s: content here: %v, wanted by %v", name, a.Here, a.Wanted)
		}
	}
	taken, err := Take(context.Background(), log, bytes.NewReader(parcel), noon)
	if err != nil || taken.Already || len(taken.Attachments) != 1 {
		t.Fatalf("%+v, %v", taken, err)
	}
	a := find(t, log, id)
	if !a.Here || len(a.Wanted) != 0 {
		t.Errorf("content here: %v, wanted by %v", a.Here, a.Wanted)
	}
	if again, err := Take(context.Background(), log, bytes.NewReader(parcel), noon); err != nil || !again.Already {
		t.Errorf("taken again: %+v, %v", again, err)
	}
	var sent bytes.Buffer
	if err := log.View(context.Background(), func(tx *changelog.Tx) error { return WriteParcel(tx, a, &sent) }); err != nil || !bytes.Equal(sent.Bytes(), parcel) {
		t.Errorf("the parcel that goes on has %d bytes of %d: %v", sent.Len(), len(parcel), err)
	}
}

// TestTakeNeedsASignedChange refuses a content that nothing tells of: what fills the
// disk has a name that somebody signed.
func TestTakeNeedsASignedChange(t *testing.T) {
	log := newLog(t)
	tell(t, log, []byte("something else"))
	if _, err := Take(context.Background(), log, bytes.NewReader(parcelWith([]byte(jacket))), noon); !errors.Is(err, ErrUnknown) {
		t.Errorf("%v", err)
	}
}

// TestTakeBoundsWhatAHeaderClaims: a size beyond the limit is refused by the header.
func TestTakeBoundsWhatAHeaderClaims(t *testing.T) {
	for _, size := range []uint64{0, MaxContentBytes + 1, 1 << 40, 1<<64 - 1} {
		parcel := binary.AppendUvarint(append([]byte("\xb5a\x01"), make([]byte, 32)...), size)
		if _, err := ReadHeader(bufio.NewReader(bytes.NewReader(parcel))); err == nil {
			t.Errorf("size %d is taken", size)
		}
	}
	long := append(append([]byte("\xb5a\x01"), make([]byte, 32)...), 0x81, 0x80, 0x00) // 1, in three bytes
	if _, err := ReadHeader(bufio.NewReader(bytes.NewReader(long))); err == nil {
		t.Errorf("a size is taken in a longer encoding than it needs")
	}
}

// TestHeaderRoundTrip: what is written is read, in as many bytes.
func TestHeaderRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := Header{SizeBytes: rapid.Int64Range(1, MaxContentBytes).Draw(t, "size")}
		copy(h.Hash[:], rapid.SliceOfN(rapid.Byte(), HashSize, HashSize).Draw(t, "hash"))
		r := bufio.NewReader(bytes.NewReader(append(h.Append(nil), "rest"...)))
		got, err := ReadHeader(r)
		if rest, _ := r.Peek(10); err != nil || got != h || string(rest) != "rest" {
			t.Errorf("ReadHeader of %+v: %+v, %v, then %q", h, got, err, rest)
		}
	})
}

// TestContentsRoundTrip: whatever is attached is copied out again, byte for byte, however
// it lies in chunks; the same content twice lies there once.
func TestContentsRoundTrip(t *testing.T) {
	log := newLog(t)
	for _, size := range []int{1, chunkBytes - 1, chunkBytes, chunkBytes + 1, 3*chunkBytes + 7} {
		content := bytes.Repeat([]byte{byte(size), 7, 9}, size)[:size]
		var a *Attachment
		for range 2 {
			write(t, log, func(tx *changelog.Tx) (err error) {
				a, err = Add(tx, clock.Dot{Lane: clock.Lane{Site: tx.Self().Site}, Seq: 1}, NoStep, File{Name: "a/b.bin", Content: bytes.NewReader(content)})
				return err
			})
		}
		var got bytes.Buffer
		if err := log.View(context.Background(), func(tx *changelog.Tx) error { return Copy(tx, find2(t, tx, a.ID), &got) }); err != nil || !bytes.Equal(got.Bytes(), content) {
			t.Errorf("%d bytes come out as %d: %v", size, got.Len(), err)
		}
	}
	err := log.View(context.Background(), func(tx *changelog.Tx) error {
		contents, _, err := Usage(tx)
		if contents != 5 {
			t.Errorf("%d contents lie there, want 5", contents)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

func find2(t testing.TB, tx *changelog.Tx, id clock.Dot) *Attachment {
	a, err := Find(tx, id)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// TestTooLargeIsRefused: the limit holds where a content is attached, and nothing of it
// stays.
func TestTooLargeIsRefused(t *testing.T) {
	log := newLog(t)
	_, err := log.Write(context.Background(), changelog.Author{Now: noon}, func(tx *changelog.Tx) error {
		_, err := Add(tx, clock.Dot{Lane: clock.Lane{Site: tx.Self().Site}, Seq: 1}, NoStep, File{Name: "film.mp4", Content: &endless{}})
		return err
	})
	if err == nil || !strings.Contains(err.Error(), "larger than 8 MB") {
		t.Errorf("%v", err)
	}
	err = log.View(context.Background(), func(tx *changelog.Tx) error {
		if contents, sizeBytes, err := Usage(tx); contents != 0 || sizeBytes != 0 || err != nil {
			t.Errorf("%d contents of %d bytes stay: %v", contents, sizeBytes, err)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

type endless struct{}

func (*endless) Read(p []byte) (int, error) { return len(p), nil }

// FuzzTake: no parcel makes a reader fail otherwise than by refusing it, and what is taken
// has the hash that a change told.
func FuzzTake(f *testing.F) {
	log := newLog(f)
	id := tell(f, log, []byte(jacket))
	parcel := parcelWith([]byte(jacket))
	for _, seed := range [][]byte{parcel, parcel[:40], append(bytes.Clone(parcel), 1), nil, []byte("\xb5a\x01")} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		_, err := Take(context.Background(), log, bytes.NewReader(data), noon)
		if a := find(t, log, id); (err == nil) != bytes.Equal(data, parcel) || a.Here && err != nil {
			t.Fatalf("%x: %v, here %v", data, err, a.Here)
		}
		if err == nil {
			write(t, log, func(tx *changelog.Tx) error { return Drop(tx, find2(t, tx, id)) })
		}
	})
}

// FuzzPreview: whatever the file, a preview is a JPEG of at most 12 kB or there is none.
func FuzzPreview(f *testing.F) {
	small := asJPEG(f, quarters(24, 16, 30))
	f.Add(small)
	f.Add(withExif(small, 6, binary.LittleEndian))
	f.Add([]byte("GIF89a\x02\x00\x01\x00\x80\x00\x00\x00\x00\x00\xff\xff\xff,\x00\x00\x00\x00\x02\x00\x01\x00\x00\x02\x02D\x01\x00;"))
	f.Add([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x06\x00\x00\x00"))
	f.Fuzz(func(t *testing.T, data []byte) {
		// A picture that says it is large is decoded as one, which takes a second each:
		// what is worked out of it before is tried, and its refusal.
		if facts, err := look(bytes.NewReader(data)); err == nil && facts.decodedBytes() > 1<<20 && facts.decodedBytes() <= maxDecodedBytes {
			return
		}
		preview, err := Preview(bytes.NewReader(data))
		switch {
		case err == nil && (len(preview) == 0 || len(preview) > MaxPreviewBytes || !bytes.HasPrefix(preview, []byte{0xff, 0xd8})):
			t.Fatalf("a preview of %d bytes", len(preview))
		case err != nil && !errors.Is(err, ErrNoPicture) && !errors.Is(err, ErrTooLarge):
			t.Fatal(err)
		}
	})
}

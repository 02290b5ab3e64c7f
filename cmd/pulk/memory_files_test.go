package main

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"flag"
	"fmt"
	"hash/crc32"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
)

// TestMemoryFiles does as TestMemory does with what people hand to the program: files
// that they wrote, pictures, and a mail box. A limit stands behind each input: it is
// met by one that is just within, and by one that goes far beyond.
func TestMemoryFiles(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("the peak of a process is read as Linux tells it")
	}
	m := newMemory(t)
	heading, err := os.ReadFile("../../testdata/catalogue.csv")
	if err != nil {
		t.Fatal(err)
	}
	columns, _, _ := strings.Cut(string(heading), "\n")
	rows := func(n, nameBytes int) string {
		var b strings.Builder
		fmt.Fprintln(&b, columns)
		for i := range n {
			fmt.Fprintf(&b, "P-%d,%s,g,each,no,1,1,1,1,,,0,\n", i, strings.Repeat("n", nameBytes))
		}
		return b.String()
	}
	card := cardHead + "\n" + strings.Repeat("name: x\n", 40)
	for _, input := range []struct {
		name    string
		command string // FILE stands for the file
		text    string
	}{
		{"catalogue", "item import FILE", rows(19_990, 150)},
		{"catalogue_all_bad", "item import FILE", strings.Repeat("a,b\n", 1<<20-2)},
		{"catalogue_one_row", "item import FILE", "part_number" + strings.Repeat(",", 4_000_000)},
		{"catalogue_open_quote", "item import FILE", `"` + strings.Repeat("x\n", 2_000_000)},
		{"catalogue_too_large", "item import FILE", rows(400_000, 150)},
		{"plan_all_bad", "assembly plan STG-07 FILE", strings.Repeat("a,b\n", 1<<18-2)},
		{"plan_one_row", "assembly plan STG-07 FILE", "slot" + strings.Repeat(",", 1_000_000)},
		{"plan_too_large", "assembly plan STG-07 FILE", strings.Repeat("a,,,,,\n", 20<<20)},
		{"sheet_all_bad", "run transcribe stn-1 --from FILE", strings.Repeat("a,b\n", 1<<18-2)},
		{"sheet_one_row", "run transcribe stn-1 --from FILE", "step" + strings.Repeat(",", 1_000_000)},
		{"sheet_too_large", "run transcribe stn-1 --from FILE", strings.Repeat("a,,,,\n", 20<<20)},
		{"procedure_keys", "procedure lint FILE", strings.Repeat("id: a\n", 39_900)},
		{"procedure_more_keys", "procedure lint FILE", strings.Repeat("id: a\n", 170_000)},
		{"procedure_list", "procedure lint FILE", "a: [" + strings.Repeat("b,", 79_900) + "]"},
		{"procedure_too_large", "procedure lint FILE", strings.Repeat("id: a\n", 30<<20)},
		{"procedure_formulas", "procedure lint FILE", procedureHead + manyFormulas(100, strings.Repeat("a>a||a>a&&", 29)+"a>a?a:a")},
		{"link", "link add --file FILE", strings.Repeat("to: a\n", 10_000)},
		{"link_too_large", "link add --file FILE", strings.Repeat("to: a\n", 30<<20)},
		{"elements", "link elements x FILE", strings.Repeat("OBJECT_NAME = x\n", 1<<19)},
		{"cards", "site add FILE", strings.Repeat(card, 8<<20/len(card))},
		{"cards_too_large", "site add FILE", strings.Repeat(card, 100<<20/len(card))},
		{"planned", "kit plan --until 2028-01-01 --planned FILE", "procedure,runs\n" + strings.Repeat("a,1\n", 16_000) + "a,b"},
		{"planned_one_row", "kit plan --until 2028-01-01 --planned FILE", strings.Repeat(",", 64<<10)},
		{"planned_too_large", "kit plan --until 2028-01-01 --planned FILE", strings.Repeat("a,1\n", 20<<20)},
	} {
		t.Run(input.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "input")
			if err := os.WriteFile(path, []byte(input.text), 0o600); err != nil {
				t.Fatal(err)
			}
			args := strings.Fields(strings.Replace(input.command, "FILE", path, 1))
			store := m.store(t)
			if verb := strings.Join(args[:2], " "); verb != "procedure lint" {
				args = append(args[:2:2], append([]string{"--store", store}, args[2:]...)...)
			}
			m.within(t, input.name == "procedure_formulas", args...) // the only file without a fault
		})
	}
	for name, write := range worstPictures() {
		t.Run(name, func(t *testing.T) { m.picture(t, write) })
	}
	t.Run("file_too_large", func(t *testing.T) { m.tooLarge(t) })
	if !testing.Short() {
		t.Run("folder", func(t *testing.T) { m.fullFolder(t) })
	}
	t.Run("mail", func(t *testing.T) { m.mailBox(t) })
}

const procedureHead = "id: p\ntitle: T\nrevision: A\nhazards: []\ninputs: {a: {value: 2, unit: m}}\nsteps:\n"

// manyFormulas are steps whose limits are all worked out by one formula.
func manyFormulas(n int, formula string) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "  - {id: s%d, kind: reading, text: R., reading: {quantity: q, unit: m, limits: {max: {formula: '%s'}}}}\n", i, formula)
	}
	return b.String()
}

// worstPictures are what takes the most to make a preview of, by the sort of picture,
// just within the limit of what is decoded.
func worstPictures() map[string]func(io.Writer) error {
	const decoded = 18 << 20
	edge := func(bytesOfFour int) image.Rectangle {
		n := 0
		for (n+64)*(n+64)*bytesOfFour/4 <= decoded {
			n++
		}
		return image.Rect(0, 0, n, n)
	}
	return map[string]func(io.Writer) error{
		"picture_gray": func(w io.Writer) error { return png.Encode(w, image.NewGray(edge(4))) },
		"picture_deep": func(w io.Writer) error { return png.Encode(w, image.NewNRGBA64(edge(32))) },
		"picture_photo": func(w io.Writer) error {
			return jpeg.Encode(w, image.NewYCbCr(edge(6), image.YCbCrSubsampleRatio420), nil)
		},
		"picture_colours": func(w io.Writer) error { // which the decoder turns into others
			var photo bytes.Buffer
			err := jpeg.Encode(&photo, image.NewYCbCr(edge(6), image.YCbCrSubsampleRatio420), nil)
			data := photo.Bytes()
			frame, scan := bytes.Index(data, []byte{0xff, 0xc0}), bytes.Index(data, []byte{0xff, 0xda})
			for i, name := range []byte("RGB") {
				data[frame+10+3*i], data[scan+5+2*i] = name, name
			}
			_, failed := w.Write(data)
			return errors.Join(err, failed)
		},
		"picture_transparent": func(w io.Writer) error { // which gives gray four channels
			var gray bytes.Buffer
			err := png.Encode(&gray, image.NewGray(edge(4)))
			chunk := append([]byte("\x00\x00\x00\x02"), "tRNS\x00\x00"...)
			chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
			_, failed := w.Write(slices.Concat(gray.Bytes()[:33], chunk, gray.Bytes()[33:]))
			return errors.Join(err, failed)
		},
		"picture_bomb": func(w io.Writer) error { return png.Encode(w, image.NewGray(image.Rect(0, 0, 30_000, 30_000))) },
	}
}

// picture attaches a picture to a unit.
func (m *memory) picture(t *testing.T, write func(io.Writer) error) {
	path := filepath.Join(t.TempDir(), "picture")
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := write(file); err != nil {
		t.Fatal(err)
	}
	if err := file.Close(); err != nil {
		t.Fatal(err)
	}
	store := m.storeWithUnit(t)
	m.within(t, true, "attach", "add", "--store", store, "--as", "ida", "--to", "SM3-1", path)
}

// storeWithUnit returns a store with the unit SM3-1, to attach things to.
func (m *memory) storeWithUnit(t *testing.T) string {
	t.Helper()
	store := m.store(t)
	m.within(t, true, "person", "add", "--store", store, "--name", "Ida", "ida")
	for _, args := range [][]string{
		{"item", "import", "../../testdata/catalogue.csv"},
		{"location", "add", "--name", "Store", "store"},
		{"unit", "add", "--part", "SM3-001", "--at", "store", "SM3-1"},
	} {
		m.within(t, true, append(args[:2:2], append([]string{"--store", store, "--as", "ida"}, args[2:]...)...)...)
	}
	return store
}

// tooLarge attaches a file that is larger than what is taken, which looks like a
// picture that never begins, and makes a preview of it.
func (m *memory) tooLarge(t *testing.T) {
	folder := t.TempDir()
	huge, small := filepath.Join(folder, "huge.jpg"), filepath.Join(folder, "small.txt")
	segment := append([]byte{0xff, 0xe1, 0xff, 0xff}, make([]byte, 65_533)...)
	data := append([]byte{0xff, 0xd8}, bytes.Repeat(segment, 2000)...)
	if err := errors.Join(os.WriteFile(huge, data, 0o600), os.WriteFile(small, []byte("x"), 0o600)); err != nil {
		t.Fatal(err)
	}
	store := m.storeWithUnit(t)
	m.within(t, false, "attach", "add", "--store", store, "--as", "ida", "--to", "SM3-1", huge)
	m.within(t, false, "attach", "add", "--store", store, "--as", "ida", "--to", "SM3-1", "--preview", huge, small)
}

var large = flag.Bool("large", false, "let the tests of memory have folders, mail boxes and stores of full size, a tenth otherwise, and all inputs")

// many is n with -large, and a tenth of it in the tests that everybody runs.
func many(n int) int {
	if *large {
		return n
	}
	return n / 10
}

// fullFolder exchanges over a folder with very many files that are none of ours.
func (m *memory) fullFolder(t *testing.T) {
	folder := t.TempDir()
	for i := range many(100_000) {
		file, err := os.Create(filepath.Join(folder, fmt.Sprintf("%06d%s", i, strings.Repeat("n", 240))))
		if err != nil {
			t.Fatal(err)
		}
		if err := file.Close(); err != nil {
			t.Fatal(err)
		}
	}
	m.within(t, true, "exchange", folder, "--store", m.store(t))
}

// mailBox lets the program look through a mail box of what strangers sent.
func (m *memory) mailBox(t *testing.T) {
	head := "From: a@b.example\nTo: c@d.example\nMIME-Version: 1.0\n"
	nested := head
	for i := range 3000 {
		nested += fmt.Sprintf("Content-Type: multipart/mixed; boundary=\"b%d\"\n\n--b%d\n", i, i)
	}
	part := "--b\nContent-Type: application/octet-stream\nContent-Disposition: attachment; filename=\"x.pulk\"\n\nxx\n"
	box, outbox := t.TempDir(), t.TempDir()
	for _, folder := range []string{box, outbox} {
		for _, sub := range []string{"tmp", "new", "cur"} {
			if err := os.Mkdir(filepath.Join(folder, sub), 0o700); err != nil {
				t.Fatal(err)
			}
		}
	}
	for i, mail := range []string{
		head + "Content-Type: application/octet-stream\nContent-Transfer-Encoding: base64\n\n" + strings.Repeat("eHh4eHh4eHh4eHh4eHh4eHh4eHh4eHh4eHh4eHh4\n", 2_000_000),
		strings.Repeat("A", 50<<20),
		"Subject: " + strings.Repeat("B", 50<<20) + "\n\nhi",
		strings.Repeat("X-Y: z\n", 2_000_000) + "\nhi",
		nested,
		head + "Content-Type: multipart/mixed; boundary=\"b\"\n\n" + strings.Repeat(part, 200_000),
		largeParcels(head, 2),
		largeParcels(head, 3),
		head + "Content-Type: multipart/mixed; boundary=\"b\"\n\n" + strings.Repeat(strings.Replace(part, "xx", "\xb5\x70", 1), 450),
	} {
		if err := os.WriteFile(filepath.Join(box, "new", fmt.Sprintf("%d.host", i)), []byte(mail), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for i := range many(20_000) { // what others write to each other
		if err := os.WriteFile(filepath.Join(box, "cur", fmt.Sprintf("%d.%s:2,S", i, strings.Repeat("n", 150))), []byte("Subject: tea\n\nhi\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	store := m.store(t)
	m.within(t, true, "site", "mail", "--store", store, "home", "home@h.example")
	m.within(t, false, "exchange", "mail:"+box, "--outbox", outbox, "--store", store) // what looks like parcels is refused
	m.within(t, false, "exchange", "mail:"+box, "--outbox", outbox, "--store", store) // with what it noted of the others
}

// largeParcels is a mail with so many parcels, as large as those that are taken.
func largeParcels(head string, n int) string {
	var b strings.Builder
	b.WriteString(head + "Content-Type: multipart/mixed; boundary=\"b\"\n\n")
	parcel := base64.StdEncoding.EncodeToString(append([]byte{0xb5, 0x70}, make([]byte, 8<<20-2)...))
	for range n {
		b.WriteString("--b\nContent-Type: application/octet-stream\nContent-Transfer-Encoding: base64\n\n" + parcel + "\n")
	}
	return b.String() + "--b--\n"
}

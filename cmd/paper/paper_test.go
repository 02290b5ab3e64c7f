package paper

import (
	"bytes"
	"fmt"
	"image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	zxdatamatrix "github.com/makiuchi-d/gozxing/datamatrix"
	"github.com/makiuchi-d/gozxing/oned"
	"github.com/makiuchi-d/gozxing/qrcode"
	"golang.org/x/image/font/sfnt"
)

var made = time.Date(2026, 11, 26, 9, 0, 0, 0, time.UTC)

const letters = "5 °C ±2 µm, 10 MΩ ≥ 3 – 7 × 10³ · αβγ ΔΩ Вилла Ёж ąćęłńóśźż ÅØÞ č ů ğ „“ …"

// sample has one of everything, on several pages.
func sample(o Options) *Doc {
	d := New(o)
	d.Heading(1, "Lowering of a module")
	d.Text(Style{}, letters)
	for n := range 30 {
		d.Keep(func() {
			d.Caution("CAUTION", fmt.Sprintf("Caution %d: the load may swing. Keep hands off the cable.", n))
			d.Gap(1)
			d.Tick(Mark(n%4), Style{}, fmt.Sprintf("Step %d: close the shackle, and wire its pin.", n))
		})
		d.Fields(TickIndent, Field{Label: "insulation", After: "MΩ"}, Field{Label: "by", Value: "Ida Brekke"})
		d.Fields(TickIndent, Field{Label: "yes", Box: true}, Field{Label: "no", Box: true, Mark: Ticked}, Field{Label: "what is seen"})
	}
	d.Sign(0, Signature{For: "Hold point: signed as lead"})
	t := Table{Columns: []Column{{Head: "row"}, {Head: "what", Share: 4}, {Head: "kg", Align: Right}}}
	for n := range 60 {
		t.Rows = append(t.Rows, []string{fmt.Sprint("row", n), strings.Repeat("some words ", n%7+1), fmt.Sprint(n)})
	}
	d.Table(t)
	d.Rule()
	d.Draw(30, func(c Canvas) {
		c.Rect(0, 0, c.Width, c.Height, 0.3)
		c.Circle(15, 15, 10, 0.4)
		c.Fill(40, 5, 10, 10, 0.5)
		c.Put(60, 5, 20, Middle, Style{Face: Mono}, "cut to its width")
	})
	return d
}

func pdf(t *testing.T, d *Doc) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := d.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// tool runs one of poppler's programs on a PDF and gives its folder.
func tool(t *testing.T, name string, content []byte, args ...string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("%s is not here (Debian: poppler-utils)", name)
	}
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, "in.pdf"), content, 0o666); err != nil {
		t.Fatal(err)
	}
	command := exec.Command(path, args...)
	command.Dir = folder
	if out, err := command.CombinedOutput(); err != nil {
		t.Fatalf("%s: %v: %s", name, err, out)
	}
	return folder
}

// pages is the text of each page, as another program reads it.
func pages(t *testing.T, content []byte) []string {
	t.Helper()
	folder := tool(t, "pdftotext", content, "-layout", "in.pdf", "out.txt")
	text, err := os.ReadFile(filepath.Join(folder, "out.txt"))
	if err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSuffix(string(text), "\f"), "\f")
}

func TestSameBytes(t *testing.T) {
	o := Options{Made: made, Title: "T", Head: "head"}
	a, b := pdf(t, sample(o)), pdf(t, sample(o))
	if !bytes.Equal(a, b) {
		t.Error("the same calls gave other bytes")
	}
	o.Made = made.Add(time.Second)
	if bytes.Equal(a, pdf(t, sample(o))) {
		t.Error("the date is not in the file")
	}
}

func TestText(t *testing.T) {
	for _, size := range []Size{A4, Letter} {
		list := pages(t, pdf(t, sample(Options{Size: size, Made: made, Head: "power-up", Right: "revision B", Foot: "run stn-4"})))
		if len(list) < 4 {
			t.Fatalf("%s: %d pages", size.Name, len(list))
		}
		all := strings.Join(list, "\n")
		if !strings.Contains(all, letters) {
			t.Errorf("%s: the letters %q are not in the text", size.Name, letters)
		}
		if strings.Contains(all, string(missing)) {
			t.Errorf("%s: letters are missing", size.Name)
		}
		rows := 0
		for n, page := range list {
			for _, part := range []string{"power-up", "revision B", "run stn-4", fmt.Sprintf("page %d of %d", n+1, len(list))} {
				if !strings.Contains(page, part) {
					t.Errorf("%s: page %d does not say %q", size.Name, n+1, part)
				}
			}
			for k := range 30 {
				caution, step := strings.Contains(page, fmt.Sprintf("Caution %d:", k)), strings.Contains(page, fmt.Sprintf("Step %d:", k))
				if caution != step {
					t.Errorf("%s: page %d has only one of caution and step %d", size.Name, n+1, k)
				}
			}
			if has := strings.Count(page, "row") > 0 && strings.Contains(page, "some words"); has && !strings.Contains(page, "what") {
				t.Errorf("%s: the table on page %d has no head", size.Name, n+1)
			}
			for k := range 60 {
				if strings.Contains(page, fmt.Sprintf("row%d ", k)) {
					rows++
				}
			}
		}
		if rows != 60 {
			t.Errorf("%s: %d rows of 60 are there", size.Name, rows)
		}
	}
}

// TestFontsAgree: one font answers for all three which letters there are.
func TestFontsAgree(t *testing.T) {
	for _, r := range letters + "☐漢" {
		for face := range faces {
			if has, want := fontHas(t, faces[face], r), new(glyphs).has(r); has != want {
				t.Errorf("font %d has %c: %t, the first: %t", face, r, has, want)
			}
		}
	}
	g := new(glyphs)
	if got := g.drawable("a\t漢😀\u200bé\r\nb"); got != "a □□é\nb" {
		t.Errorf("drawable: %q", got)
	}
}

func TestWrap(t *testing.T) {
	d := New(Options{})
	for _, text := range []string{"", "one", "some words that take several lines\nand a second paragraph", strings.Repeat("w", 300)} {
		lines := d.wrap(Style{}, text, 40)
		for _, line := range lines {
			if w := d.textWidth(Style{}, line); w > 40 {
				t.Errorf("%q is %.1f mm wide", line, w)
			}
		}
		plain := func(s string) string { return strings.Join(strings.Fields(s), "") }
		if got := plain(strings.Join(lines, "")); got != plain(text) {
			t.Errorf("%q lost letters: %q", text, got)
		}
	}
	if got := d.clip(Style{}, strings.Repeat("word ", 30), 40); d.textWidth(Style{}, got) > 40 || !strings.HasSuffix(got, "…") {
		t.Errorf("clip: %q", got)
	}
}

// TestHigherThanAPage: what no page holds goes over several, and nothing is lost.
func TestHigherThanAPage(t *testing.T) {
	words := make([]string, 2000)
	for i := range words {
		words[i] = fmt.Sprintf("w%d", i)
	}
	long := strings.Join(words, " ")
	for name, fn := range map[string]func(*Doc){
		"caution": func(d *Doc) { d.Caution("CAUTION", long) },
		"tick":    func(d *Doc) { d.Tick(Empty, Style{}, long) },
		"text":    func(d *Doc) { d.Text(Style{}, long) },
		"keep":    func(d *Doc) { d.Keep(func() { d.Text(Style{}, long) }) },
		"table": func(d *Doc) {
			d.Table(Table{Columns: []Column{{Head: "a"}, {Head: "b", Share: 9}}, Rows: [][]string{{"x", long}, {"y", "z"}}, RowMin: 400})
		},
	} {
		d := New(Options{Made: made, Head: name})
		d.Text(Style{}, "first")
		fn(d)
		text := strings.Fields(strings.Join(pages(t, pdf(t, d)), " "))
		seen := map[string]bool{}
		for _, w := range text {
			seen[w] = true
		}
		for _, w := range words {
			if !seen[w] {
				t.Errorf("%s: %s is lost", name, w)
				break
			}
		}
	}
}

var codes = map[string]struct {
	make   func(string) (Code, error)
	reader gozxing.Reader
}{
	"qr":         {QR, qrcode.NewQRCodeReader()},
	"datamatrix": {DataMatrix, zxdatamatrix.NewDataMatrixReader()},
	"code128":    {Code128, oned.NewCode128Reader()},
}

// TestCodesDecode reads each code back with a reader that others wrote, from the bare
// picture and from the printed page.
func TestCodesDecode(t *testing.T) {
	for name, c := range codes {
		t.Run(name, func(t *testing.T) {
			const text = "DM-0017/run STN-4.2"
			code, err := c.make(text)
			if err != nil {
				t.Fatal(err)
			}
			if got := decodes(t, c.reader, gozxing.NewLuminanceSourceFromImage(code.Image(3))); got != text {
				t.Errorf("the picture reads %q", got)
			}
			module := code.Fit(60, 25, 300)
			w, h := code.Size(module)
			d := New(Options{Size: Size{"label", w + 4, h + 4}, Bare: true, Made: made})
			d.Page().Code(2, 2, module, code)
			folder := tool(t, "pdftoppm", pdf(t, d), "-r", "300", "-png", "in.pdf", "out")
			if got := decodes(t, c.reader, picture(t, folder)); got != text {
				t.Errorf("the page reads %q", got)
			}
		})
	}
}

func picture(t *testing.T, folder string) gozxing.LuminanceSource {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(folder, "out*.png"))
	if err != nil || len(names) != 1 {
		t.Fatalf("pictures: %v, %v", names, err)
	}
	file, err := os.Open(names[0])
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	img, err := png.Decode(file)
	if err != nil {
		t.Fatal(err)
	}
	return gozxing.NewLuminanceSourceFromImage(img)
}

func decodes(t *testing.T, reader gozxing.Reader, source gozxing.LuminanceSource) string {
	t.Helper()
	bitmap, err := gozxing.NewBinaryBitmap(gozxing.NewHybridBinarizer(source))
	if err != nil {
		t.Fatal(err)
	}
	result, err := reader.Decode(bitmap, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true})
	if err != nil {
		t.Fatalf("not read: %v", err)
	}
	return result.GetText()
}

// TestFit holds modules to whole dots.
func TestFit(t *testing.T) {
	code, err := QR("PULK 1 RUN STN-4 B")
	if err != nil {
		t.Fatal(err)
	}
	const dot = 25.4 / 203
	module := code.Fit(20, 15, 203)
	if n := module / dot; n < 1 || math.Abs(n-math.Round(n)) > 1e-9 {
		t.Errorf("a module is %v dots", n)
	}
	if w, h := code.Size(module); w > 15 || h > 15 {
		t.Errorf("the code takes %v x %v mm of 20 x 15", w, h)
	}
	if w, _ := code.Size(module + dot); w <= 15 {
		t.Errorf("one dot more would fit as well: %v mm", w)
	}
	if code.Fit(2, 2, 203) != 0 {
		t.Error("a code fits where it cannot")
	}
	if _, err := Code128("é"); err == nil {
		t.Error("Code 128 took a letter that it does not have")
	}
}

func TestSizeNamed(t *testing.T) {
	if s, err := SizeNamed("A4"); err != nil || s != A4 {
		t.Error(s, err)
	}
	if _, err := SizeNamed("a5"); err == nil {
		t.Error("a5 is taken")
	}
}
func fontHas(t *testing.T, data []byte, r rune) bool {
	t.Helper()
	font, err := sfnt.Parse(data)
	if err != nil {
		t.Fatal(err)
	}
	index, err := font.GlyphIndex(nil, r)
	if err != nil {
		t.Fatal(err)
	}
	return index != 0
}

// FuzzText: no text makes a page that cannot be written, and none makes it grow
// without bound.
func FuzzText(f *testing.F) {
	f.Add("a few words", 20.0)
	f.Add(letters, 3.0)
	f.Add("\xff\xfe\x00\u2028\U0001f600\u0301漢", 0.1)
	f.Add(strings.Repeat("w", 1000), 60.0)
	f.Fuzz(func(t *testing.T, text string, width float64) {
		if len(text) > 4000 {
			return
		}
		d := New(Options{Made: made, Title: text, Head: text, Right: text, Foot: text})
		for _, fn := range []func(){
			func() { d.Heading(1, text) },
			func() { d.Caution(text, text) },
			func() { d.Tick(Empty, Style{}, text) },
			func() { d.Item(15, text, Style{SizePoints: 12}, text) },
			func() { d.Fields(5, Field{Label: text, After: text, Value: text}, Field{Box: true, Label: text}) },
			func() { d.Sign(5, Signature{For: text, Name: text}) },
			func() { d.Table(Table{Columns: []Column{{Head: text}, {Head: "b"}}, Rows: [][]string{{text, text}}}) },
			func() { d.Draw(10, func(c Canvas) { c.Put(0, 0, width, Middle, Style{}, text) }) },
		} {
			fn()
		}
		if err := d.Write(io.Discard); err != nil {
			t.Error(err)
		}
		if most := 10 + len(text)/20; d.Pages() > most {
			t.Errorf("%d bytes take %d pages, more than %d", len(text), d.Pages(), most)
		}
	})
}

package main

import (
	"bytes"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"

	"pulk/checklist/procedure"
	"pulk/cmd/paper"
)

// poppler runs one of poppler's programs on a PDF and returns its folder.
func poppler(t *testing.T, content []byte, name string, args ...string) string {
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

// pageTexts returns the words of each page, a space between each two.
func pageTexts(t *testing.T, content []byte) []string {
	t.Helper()
	folder := poppler(t, content, "pdftotext", "-raw", "in.pdf", "out.txt")
	text, err := os.ReadFile(filepath.Join(folder, "out.txt"))
	if err != nil {
		t.Fatal(err)
	}
	pages := strings.Split(strings.TrimSuffix(string(text), "\f"), "\f")
	for i := range pages {
		pages[i] = strings.Join(strings.Fields(pages[i]), " ")
	}
	return pages
}

// pagePicture returns the first page at 300 dots per inch, for readers of bar codes.
func pagePicture(t *testing.T, content []byte) *gozxing.BinaryBitmap {
	t.Helper()
	folder := poppler(t, content, "pdftoppm", "-r", "300", "-gray", "-png", "-f", "1", "-l", "1", "-singlefile", "in.pdf", "out")
	file, err := os.Open(filepath.Join(folder, "out.png"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	picture, err := png.Decode(file)
	if err != nil {
		t.Fatal(err)
	}
	bitmap, err := gozxing.NewBinaryBitmap(gozxing.NewHybridBinarizer(gozxing.NewLuminanceSourceFromImage(picture)))
	if err != nil {
		t.Fatal(err)
	}
	return bitmap
}

func sheetPDF(t *testing.T, p *procedure.Procedure, size paper.Size) []byte {
	t.Helper()
	doc, err := newSheet(nil, p, nil).print(size, time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	var file bytes.Buffer
	if err := doc.Write(&file); err != nil {
		t.Fatal(err)
	}
	return file.Bytes()
}

// TestSheetPages holds every sheet to keeping a step on one page with what warns of
// it, and with its limits; nothing of the procedure is left out.
func TestSheetPages(t *testing.T) {
	files, err := filepath.Glob("../../testdata/procedures/*.yaml")
	if err != nil || len(files) < 4 {
		t.Fatal(files, err)
	}
	for _, file := range files {
		source, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		p, problems := procedure.Parse(file, source)
		if p == nil {
			t.Fatal(problems)
		}
		sizes := []paper.Size{paper.A4, paper.Letter}
		if p.ID != "power-up" { // one in both is enough
			sizes = sizes[:1]
		}
		for _, size := range sizes {
			t.Run(p.ID+"_"+p.Revision+"_"+size.Name, func(t *testing.T) {
				pages := pageTexts(t, sheetPDF(t, p, size))
				for i := range p.Steps {
					checkStepPage(t, &p.Steps[i], pages)
				}
				for _, h := range p.Hazards {
					if !strings.Contains(pages[0]+pages[1], strings.Join(strings.Fields(h.Caution), " ")) {
						t.Errorf("hazard %s is not there", h.Name)
					}
				}
			})
		}
	}
}

func checkStepPage(t *testing.T, step *procedure.Step, pages []string) {
	t.Helper()
	texts := append([]string{step.ID + " ", step.Text}, step.Cautions...)
	if step.Irreversible {
		texts = append(texts, "THIS CANNOT BE UNDONE")
	}
	if r := step.Reading; r != nil && r.Computed == nil {
		texts = append(texts, "limits: "+r.Limits.In(r.Unit))
	}
	for _, page := range pages {
		all := true
		for _, text := range texts {
			all = all && strings.Contains(page, strings.Join(strings.Fields(text), " "))
		}
		if all {
			return
		}
	}
	t.Errorf("no page has all of step %s: %q", step.ID, texts)
}

// TestSheetCode reads the code off the printed page.
func TestSheetCode(t *testing.T) {
	source, err := os.ReadFile("../../testdata/procedures/power-up.yaml")
	if err != nil {
		t.Fatal(err)
	}
	p, problems := procedure.Parse("power-up.yaml", source)
	if p == nil {
		t.Fatal(problems)
	}
	content := sheetPDF(t, p, paper.A4)
	if !bytes.Equal(content, sheetPDF(t, p, paper.A4)) {
		t.Error("the same sheet gave other bytes")
	}
	result, err := qrcode.NewQRCodeReader().Decode(pagePicture(t, content), nil)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := result.GetText(), "pulk1 procedure power-up@A"; got != want {
		t.Errorf("the code says %q, want %q", got, want)
	}
}

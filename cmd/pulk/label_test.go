package main

import (
	"bytes"
	"errors"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	zxdatamatrix "github.com/makiuchi-d/gozxing/datamatrix"
	"github.com/makiuchi-d/gozxing/oned"
	"github.com/makiuchi-d/gozxing/qrcode"

	"pulk/cmd/paper"
	"pulk/schema/fault"
)

func labelPDF(t *testing.T, f labelForm, labels ...labelText) []byte {
	t.Helper()
	doc, err := f.print(labels, time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	var file bytes.Buffer
	if err := doc.Write(&file); err != nil {
		t.Fatal(err)
	}
	return file.Bytes()
}

func single(width, height float64) labelForm {
	return labelForm{size: paper.Size{Name: "label", WidthMillimetres: width, HeightMillimetres: height}, dots: 300, bars: true}
}

// TestLabelDecodes reads both codes off printed labels, with a reader that others
// wrote, from the picture of the page as a printer gets it.
func TestLabelDecodes(t *testing.T) {
	matrix := single(62, 29)
	matrix.matrix = true
	thermal := single(100, 50)
	thermal.dots = 203
	for name, c := range map[string]struct {
		form   labelForm
		reader gozxing.Reader
	}{
		"qr":         {single(62, 29), qrcode.NewQRCodeReader()},
		"datamatrix": {matrix, zxdatamatrix.NewDataMatrixReader()},
		"thermal":    {thermal, qrcode.NewQRCodeReader()},
	} {
		t.Run(name, func(t *testing.T) {
			const serial = "SM3-0107"
			content := labelPDF(t, c.form, labelText{code: serial, big: serial, lines: []string{"STR-010", "Surface hub SH-1 complete"}})
			picture := pagePicture(t, content)
			hints := map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true}
			for _, reader := range []gozxing.Reader{c.reader, oned.NewCode128Reader()} {
				picture := picture
				if name == "datamatrix" && reader == c.reader { // it looks for a code in the middle only
					var err error
					if picture, err = picture.Crop(0, 0, picture.GetWidth()*2/7, picture.GetHeight()*2/3); err != nil {
						t.Fatal(err)
					}
				}
				result, err := reader.Decode(picture, hints)
				if err != nil {
					t.Fatalf("%T: %v", reader, err)
				}
				if result.GetText() != serial {
					t.Errorf("%T reads %q", reader, result.GetText())
				}
			}
			if pages := pageTexts(t, content); len(pages) != 1 || pages[0] != "SM3-0107 STR-010 Surface hub SH-1 complete" {
				t.Errorf("people read %q", pages)
			}
		})
	}
}

// TestLabelPages counts: what is used up of the first sheet, then sheet after sheet.
func TestLabelPages(t *testing.T) {
	f, err := formOf(paper.A4, 3, 8, 0, 0, -1, -1, 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	f.dots, f.bars, f.skip = 300, true, 20
	labels := make([]labelText, 30)
	for i := range labels {
		labels[i] = labelText{code: "SM3-0107", big: "SM3-0107"}
	}
	doc, err := f.print(labels, time.Time{})
	if err != nil || doc.Pages() != 3 { // 4, 24 and 2
		t.Errorf("%d pages, %v; want 3", doc.Pages(), err)
	}
}

// TestLabelForm holds grids to the paper.
func TestLabelForm(t *testing.T) {
	f, err := formOf(paper.A4, 3, 7, 63.5, 38.1, -1, -1, 2.5, 0)
	if err != nil || f.left < 7.2 || f.left > 7.3 || f.top < 15.1 || f.top > 15.2 {
		t.Errorf("%+v, %v; want it centred", f, err)
	}
	for _, bad := range [][8]float64{{3, 7, 70, 38, 0, 0, 2.5, 0}, {3, 8, 60, 40, 0, 0, 0, 0}, {40, 8, 0, 0, -1, -1, 0, 0}, {1, 1, 100, 100, 120, 0, 0, 0}} {
		if f, err := formOf(paper.A4, int(bad[0]), int(bad[1]), bad[2], bad[3], bad[4], bad[5], bad[6], bad[7]); err == nil {
			t.Errorf("%v fits: %+v", bad, f)
		}
	}
}

// TestLabelTooSmall: a code that could not be read is not printed.
func TestLabelTooSmall(t *testing.T) {
	for name, c := range map[string]struct {
		form labelForm
		code string
	}{
		"bars": {single(25, 20), "SM3-0107-AND-MUCH-MORE"},
		"qr":   {single(25, 13), "sm3-0107-and-much-more-than-that"},
	} {
		if name == "qr" {
			c.form.bars = false
		}
		_, err := c.form.print([]labelText{{code: c.code, big: c.code}}, time.Time{})
		var usage *fault.Usage
		if !errors.As(err, &usage) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

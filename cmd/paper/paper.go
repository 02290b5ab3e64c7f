// Package paper lays out pages to print: flowing text, tables, boxes to tick, lines
// to fill in, simple drawings and bar codes on A4, Letter or a label, as a PDF file.
// It knows no rule of the work.
//
// Start with [New]. What flows ([Doc.Heading], [Doc.Text], [Doc.Table], [Doc.Tick],
// [Doc.Fields], [Doc.Item], [Doc.Caution], [Doc.Sign], [Doc.Draw]) goes below what came before
// and on to a new page where it does not fit; [Doc.Keep] holds several such pieces
// on one page. A [Canvas] is for what has its place on a page. All lengths are in
// millimetres from the top left corner, font sizes in points. [Doc.Write] ends it.
//
// The same calls give the same bytes: nothing is asked of the clock, and the fonts
// are part of the program. Pages are black on white, for any printer.
package paper

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// Size is a size of paper, upright; labels have sizes of their own.
type Size struct {
	Name                                string
	WidthMillimetres, HeightMillimetres float64
}

// Paper to print on: ISO 216 and ANSI/ASME Y14.1 (8.5 in by 11 in).
var (
	A4     = Size{"a4", 210, 297}
	Letter = Size{"letter", 215.9, 279.4}
)

// SizeNamed finds A4 or Letter by name, in any case.
func SizeNamed(name string) (Size, error) {
	for _, s := range []Size{A4, Letter} {
		if strings.EqualFold(name, s.Name) {
			return s, nil
		}
	}
	return Size{}, fmt.Errorf("paper %q is not known: it is a4 or letter", name)
}

// Options say what holds for a whole document.
type Options struct {
	Size Size      // A4 where it is left out
	Made time.Time // the date in the file; the same date gives the same bytes

	Title string // the file's title, as viewers show it
	Head  string // at the top of each page, left; cut to one line
	Right string // at the top of each page, right of Head
	Foot  string // at the foot of each page; "page 2 of 5" stands right of it
	Code  *Code  // a bar code at the top right of each page, 16 mm high at most

	Bare bool // no head, no foot and no margins: labels
}

// Doc is a document being laid out. Errors are kept until [Doc.Write].
type Doc struct {
	pdf  *fpdf.Fpdf
	o    Options
	y    float64 // where the next piece begins
	dry  bool    // measuring: nothing is drawn, no page ends
	glyf *glyphs

	left, top, width, bottom float64 // the area that text flows in; bottom is its lower edge
}

const (
	margin    = 15.0 // left and right: a hole punch takes 12 mm (ISO 838)
	headLine  = 12.0 // the first line at the top of a page
	codeSide  = 16.0 // the most that a code in the head takes
	footLine  = 10.0 // the line at the foot, above the edge of the paper
	codeRoom  = codeSide + 3
	textBelow = 9.0 // from the head's first line to the text, without a code
)

// New begins a document with one empty page.
func New(o Options) *Doc {
	if o.Size == (Size{}) {
		o.Size = A4
	}
	w, h := o.Size.WidthMillimetres, o.Size.HeightMillimetres
	d := &Doc{o: o, glyf: new(glyphs), width: w, bottom: h}
	d.pdf = fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: w, Ht: h}})
	d.pdf.SetMargins(0, 0, 0)
	d.pdf.SetAutoPageBreak(false, 0)
	d.pdf.SetCatalogSort(true)
	d.pdf.SetCreationDate(o.Made.UTC())
	d.pdf.SetModificationDate(o.Made.UTC())
	d.pdf.SetProducer("pulk", true)
	d.pdf.SetTitle(d.glyf.drawable(o.Title), true) // the library fails on what is no UTF-8
	for face, font := range faces {
		// The library writes into the bytes it is given when it cuts a font to the
		// letters in use; the next document would get a spoilt font.
		d.pdf.AddUTF8FontFromBytes(fmt.Sprint("f", face), "", bytes.Clone(font))
	}
	if !o.Bare {
		d.left, d.width = margin, w-2*margin
		d.top, d.bottom = headLine+textBelow, h-footLine-6
		if o.Code != nil {
			d.top = headLine - 4 + codeRoom
		}
	}
	d.page()
	return d
}

// Width is how wide flowing text is, in millimetres.
func (d *Doc) Width() float64 { return d.width }

// Room is how much of this page is left below what stands on it, in millimetres.
func (d *Doc) Room() float64 { return d.bottom - d.y }

func (d *Doc) page() {
	d.pdf.AddPage()
	d.y = d.top
}

// NewPage goes on at the top of a new page.
func (d *Doc) NewPage() {
	if !d.dry {
		d.page()
	}
}

// need ends the page where less than height is left on it.
func (d *Doc) need(height float64) {
	const rounding = 1e-6
	if !d.dry && d.y > d.top && d.y+height > d.bottom+rounding {
		d.page()
	}
}

// take gives the canvas of the next piece, which is height high, and goes on below it.
func (d *Doc) take(height float64) Canvas {
	d.need(height)
	c := Canvas{d, d.left, d.y, d.width, height}
	d.y += height
	return c
}

// Gap leaves height free; at the top of a page it leaves nothing.
func (d *Doc) Gap(height float64) {
	if d.dry || d.y > d.top {
		d.y += height
	}
}

// Height is how high what fn lays out would be, in millimetres. It draws nothing, so
// fn must only call what flows.
func (d *Doc) Height(fn func()) float64 {
	was, dry := d.y, d.dry
	d.dry = true
	fn()
	height := d.y - was
	d.y, d.dry = was, dry
	return height
}

// Keep lays out what fn does without a page break in it, if it fits on a page at
// all; it begins a new page where it must. fn is called twice, the first time to
// measure.
func (d *Doc) Keep(fn func()) {
	d.need(d.Height(fn))
	fn()
}

// Page is the whole of this page, to draw on at fixed places.
func (d *Doc) Page() Canvas {
	return Canvas{d, 0, 0, d.o.Size.WidthMillimetres, d.o.Size.HeightMillimetres}
}

// Pages is how many pages there are so far.
func (d *Doc) Pages() int { return d.pdf.PageCount() }

// Write ends the document: it adds head and foot to each page and writes the PDF.
func (d *Doc) Write(w io.Writer) error {
	if !d.o.Bare {
		pages := d.Pages()
		for n := 1; n <= pages; n++ {
			d.pdf.SetPage(n)
			d.edges(n, pages)
		}
	}
	if err := d.pdf.Output(w); err != nil {
		return fmt.Errorf("make the PDF: %w", err)
	}
	return nil
}

func (d *Doc) edges(n, pages int) {
	c := d.Page()
	right := d.left + d.width
	if code := d.o.Code; code != nil {
		module := code.Fit(codeSide, codeSide, 300)
		w, _ := code.Size(module)
		c.Code(right-w, headLine-4, module, *code)
		right -= w + 3
	}
	small, bold := Style{SizePoints: 9}, Style{Face: Bold, SizePoints: 9}
	beside := c.TextWidth(small, d.o.Right)
	if d.o.Right != "" {
		c.Put(right-beside, headLine, beside+1, Left, small, d.o.Right)
		beside += 4
	}
	c.Put(d.left, headLine, right-beside-d.left, Left, bold, d.o.Head)
	c.Line(d.left, headLine+5, right, headLine+5, 0.3)

	at := d.o.Size.HeightMillimetres - footLine
	number := fmt.Sprintf("page %d of %d", n, pages)
	beside = c.TextWidth(bold, number)
	c.Line(d.left, at-1, d.left+d.width, at-1, 0.3)
	c.Put(d.left, at, d.width-beside-4, Left, small, d.o.Foot)
	c.Put(d.left+d.width-beside, at, beside+1, Left, bold, number)
}

package main

import (
	"fmt"
	"time"

	"pulk/cmd/paper"
	"pulk/schema/fault"
)

// labelText is what a label says: what a scanner reads, and what people do.
type labelText struct {
	code  string   // bare, so that a scan types just this
	big   string   // in the largest letters that fit
	lines []string // below it, small
}

// labelForm is how labels are laid out, in millimetres.
type labelForm struct {
	size          paper.Size // of the page; a single label where columns is 0
	columns, rows int
	width, height float64 // of a label
	left, top     float64 // of the first one
	acrossGap     float64
	downGap       float64
	skip          int // labels of the first sheet that are used up

	matrix bool // Data Matrix in place of QR
	bars   bool // a Code 128 below
	dots   float64
}

// labelSide is the least side of a label, in millimetres.
const labelSide = 12.0

// printLabels lays labels out, left to right and down, on as many pages as it takes.
func (f labelForm) print(labels []labelText, made time.Time) (*paper.Doc, error) {
	d := paper.New(paper.Options{Size: f.size, Made: made, Title: "Labels", Bare: true})
	at := f.skip
	for i, label := range labels {
		c := d.Page()
		if f.columns > 0 {
			if at == f.columns*f.rows {
				d.NewPage()
				c, at = d.Page(), 0
			}
			column, row := at%f.columns, at/f.columns
			c = c.Part(f.left+float64(column)*(f.width+f.acrossGap), f.top+float64(row)*(f.height+f.downGap), f.width, f.height)
			at++
		} else if i > 0 {
			d.NewPage()
			c = d.Page()
		}
		if err := f.label(c, label); err != nil {
			return nil, err
		}
	}
	return d, nil
}

// label draws one label: the code of the whole height or above the bars, the words
// right of it, the bars below.
func (f labelForm) label(c paper.Canvas, l labelText) error {
	const pad = 2.0
	inner := c.Part(pad, pad, c.Width-2*pad, c.Height-2*pad)
	upper := inner.Height
	if f.bars {
		high, err := f.drawBars(inner, l)
		if err != nil {
			return err
		}
		upper -= high
	}
	make2D := paper.QR
	if f.matrix {
		make2D = paper.DataMatrix
	}
	code, err := make2D(l.code)
	if err != nil {
		return fault.Hint("try the other --code", "%w", err)
	}
	module := code.Fit(min(upper, inner.Width*0.45), upper, f.dots)
	const moduleMin = 0.25 // what a scanner for goods reads without care: common practice
	if module < moduleMin {
		return fault.Misuse("take a larger label, --code datamatrix, or leave the bars away with --no-bars", "%q does not fit: the code would have modules of %.2f mm, at least %.2f are read well", l.code, module, moduleMin)
	}
	side, high := code.Size(module)
	inner.Code(0, (upper-high)/2, module, code)
	f.words(inner.Part(side+1, 0, inner.Width-side-1, upper), l)
	return nil
}

// drawBars draws the bars at the lower edge, and returns how high they are with the gap
// above them.
func (f labelForm) drawBars(c paper.Canvas, l labelText) (float64, error) {
	bars, err := paper.Code128(l.code)
	if err != nil {
		return 0, fault.Hint("leave the bars away with --no-bars", "%w", err)
	}
	module := min(bars.Fit(c.Width, c.Height, f.dots), 0.8)
	const moduleMin = 0.16 // 2 dots at 300 to the inch
	if module < moduleMin {
		return 0, fault.Misuse("take a wider label, or leave the bars away with --no-bars", "%q does not fit as bars: they would be %.2f mm wide, at least %.2f are read", l.code, module, moduleMin)
	}
	module = float64(int(module/(25.4/f.dots)+1e-9)) * 25.4 / f.dots
	width, _ := bars.Size(module)
	high := max(5, c.Height*0.25)
	c.Bars((c.Width-width)/2, c.Height-high, module, high, bars)
	return high + 1, nil
}

// words writes the big line as large as it fits, and what fits below of the others.
func (f labelForm) words(c paper.Canvas, l labelText) {
	big := paper.Style{Face: paper.Bold, SizePoints: 72}
	for big.SizePoints > 7 && (c.TextWidth(big, l.big) > c.Width || big.Line() > c.Height*0.45) {
		big.SizePoints -= 0.5
	}
	c.Put(0, 0, c.Width, paper.Left, big, l.big)
	y, small := big.Line()+0.3, paper.Style{SizePoints: max(6, min(20, big.SizePoints*0.5))}
	for _, line := range l.lines {
		for small.SizePoints > 7 && c.TextWidth(small, line) > c.Width {
			small.SizePoints -= 0.5
		}
	}
	for _, line := range l.lines {
		if line == "" || y+small.Line() > c.Height {
			continue
		}
		c.Put(0, y, c.Width, paper.Left, small, line)
		y += small.Line()
	}
}

// formOf makes the form of a grid of labels on a sheet. Where their size is not given
// they fill the sheet; where the margins are not, they are as wide on both sides.
func formOf(size paper.Size, columns, rows int, width, height, left, top, across, down float64) (labelForm, error) {
	f := labelForm{size: size, columns: columns, rows: rows, width: width, height: height, left: left, top: top, acrossGap: across, downGap: down}
	gapsAcross, gapsDown := across*float64(columns-1), down*float64(rows-1)
	if width == 0 {
		f.width = (size.WidthMillimetres - 2*max(left, 0) - gapsAcross) / float64(columns)
		f.height = (size.HeightMillimetres - 2*max(top, 0) - gapsDown) / float64(rows)
	}
	if left < 0 {
		f.left = (size.WidthMillimetres - f.width*float64(columns) - gapsAcross) / 2
	}
	if top < 0 {
		f.top = (size.HeightMillimetres - f.height*float64(rows) - gapsDown) / 2
	}
	const rounding = 0.01
	right, bottom := f.left+f.width*float64(columns)+gapsAcross, f.top+f.height*float64(rows)+gapsDown
	if f.width < labelSide || f.height < labelSide || f.left < -rounding || f.top < -rounding || right > size.WidthMillimetres+rounding || bottom > size.HeightMillimetres+rounding {
		return f, fmt.Errorf("%d by %d labels of %.1f by %.1f mm do not fit %s, or are too small", columns, rows, f.width, f.height, size.Name)
	}
	return f, nil
}

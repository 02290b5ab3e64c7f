package paper

import (
	"fmt"
	"image"
	"image/color"

	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/code128"
	"github.com/boombuler/barcode/datamatrix"
	"github.com/boombuler/barcode/qr"
)

// Code is a bar code as modules, its quiet zone around it.
type Code struct {
	columns, rows int
	quiet         int // light modules on each side
	quietTop      int // and above and below
	dark          func(column, row int) bool
	bars          bool // one row, as high as it is drawn
}

// QR is a QR code (ISO/IEC 18004) of text, at error correction level M (some 15 % of
// it may be unreadable), with the standard's quiet zone of 4 modules.
func QR(text string) (Code, error) {
	b, err := qr.Encode(text, qr.M, qr.Auto)
	return square(b, err, "QR", text, 4)
}

// DataMatrix is a Data Matrix code (ISO/IEC 16022, ECC 200) of text, with the
// standard's quiet zone of one module, and one more for unsteady hands.
func DataMatrix(text string) (Code, error) {
	b, err := datamatrix.Encode(text)
	return square(b, err, "Data Matrix", text, 2)
}

func square(b barcode.Barcode, err error, name, text string, quiet int) (Code, error) {
	if err != nil {
		return Code{}, fmt.Errorf("no %s code for %q: %w", name, text, err)
	}
	return Code{b.Bounds().Dx(), b.Bounds().Dy(), quiet, quiet, darkOf(b), false}, nil
}

// Code128 is a Code 128 bar code (ISO/IEC 15417) of text, with the standard's quiet
// zone of 10 modules left and right.
func Code128(text string) (Code, error) {
	b, err := code128.Encode(text)
	if err != nil {
		return Code{}, fmt.Errorf("no Code 128 for %q: %w", text, err)
	}
	return Code{b.Bounds().Dx(), 1, 10, 0, darkOf(b), true}, nil
}

func darkOf(b barcode.Barcode) func(column, row int) bool {
	return func(column, row int) bool {
		return color.GrayModel.Convert(b.At(b.Bounds().Min.X+column, b.Bounds().Min.Y+row)).(color.Gray).Y < 128
	}
}

// barHeight is how high the bars of a one-row code are, in modules, where the height
// is not given: 15 % of the length of the symbol, at least 5 mm, is common practice.
func (c Code) barHeight() int { return max(20, (c.columns*15+99)/100) }

func (c Code) modules() (width, height int) {
	if c.bars {
		return c.columns + 2*c.quiet, c.barHeight()
	}
	return c.columns + 2*c.quiet, c.rows + 2*c.quietTop
}

// Size is how much room the code takes with its quiet zone, at a module of so many
// millimetres.
func (c Code) Size(module float64) (width, height float64) {
	w, h := c.modules()
	return float64(w) * module, float64(h) * module
}

// Fit is the largest module, in millimetres, at which the code with its quiet zone is
// no larger than width and height, and which is a whole number of dots of a
// printer of so many dots per inch: edges then fall between dots and stay sharp. It
// is 0 where not even one dot fits. Bars are cut to the height, so only width counts for them.
func (c Code) Fit(width, height, dotsPerInch float64) float64 {
	dot := 25.4 / dotsPerInch
	w, h := c.modules()
	n := int(width / dot / float64(w))
	if !c.bars {
		n = min(n, int(height/dot/float64(h)))
	}
	return float64(n) * dot
}

// Image is the code with its quiet zone as a picture, scale dots to a module.
func (c Code) Image(scale int) image.Image {
	w, h := c.modules()
	picture := image.NewGray(image.Rect(0, 0, w*scale, h*scale))
	for y := range h * scale {
		for x := range w * scale {
			shade := color.Gray{Y: 255}
			if c.at(x/scale-c.quiet, y/scale-c.quietTop) {
				shade.Y = 0
			}
			picture.SetGray(x, y, shade)
		}
	}
	return picture
}

func (c Code) at(column, row int) bool {
	if c.bars {
		row = 0
	}
	return column >= 0 && column < c.columns && row >= 0 && row < c.rows && c.dark(column, row)
}

// Code draws a bar code with its quiet zone, its corner at x, y. All dark modules
// are one path, so that no light seam shows between two that touch.
func (c Canvas) Code(x, y, module float64, code Code) {
	high := module
	if code.bars {
		_, high = code.Size(module)
	}
	c.modules(x, y, module, high, code)
}

// Bars draws a one-row code with its quiet zone, the bars as high as is said.
func (c Canvas) Bars(x, y, module, height float64, code Code) {
	c.modules(x, y, module, height, code)
}

func (c Canvas) modules(x, y, width, height float64, code Code) {
	if c.doc.dry {
		return
	}
	pdf := c.doc.pdf
	pdf.SetFillColor(0, 0, 0)
	left, top := c.x+x+float64(code.quiet)*width, c.y+y+float64(code.quietTop)*width
	for row := range code.rows {
		y1 := top + float64(row)*height
		for from := 0; from < code.columns; from++ {
			to := from
			for to < code.columns && code.dark(to, row) {
				to++
			}
			if to == from {
				continue
			}
			x1, x2 := left+float64(from)*width, left+float64(to)*width
			pdf.MoveTo(x1, y1)
			pdf.LineTo(x2, y1)
			pdf.LineTo(x2, y1+height)
			pdf.LineTo(x1, y1+height)
			pdf.ClosePath()
			from = to
		}
	}
	pdf.DrawPath("F")
}

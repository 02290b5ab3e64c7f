package paper

// Canvas is a rectangle on a page, to draw on. Places are in millimetres from its top
// left corner. While a [Doc] measures, drawing on it does nothing.
type Canvas struct {
	doc           *Doc
	x, y          float64 // its corner on the page
	Width, Height float64
}

// Part is a rectangle of the canvas as a canvas of its own.
func (c Canvas) Part(x, y, width, height float64) Canvas {
	return Canvas{c.doc, c.x + x, c.y + y, width, height}
}

// Line draws a line that is thick millimetres wide.
func (c Canvas) Line(x1, y1, x2, y2, thick float64) {
	if c.doc.dry {
		return
	}
	c.doc.pdf.SetLineWidth(thick)
	c.doc.pdf.Line(c.x+x1, c.y+y1, c.x+x2, c.y+y2)
}

// Rect draws the outline of a rectangle.
func (c Canvas) Rect(x, y, width, height, thick float64) {
	if c.doc.dry {
		return
	}
	c.doc.pdf.SetLineWidth(thick)
	c.doc.pdf.Rect(c.x+x, c.y+y, width, height, "D")
}

// Fill fills a rectangle with a grey from 0 (black) to 1 (white).
func (c Canvas) Fill(x, y, width, height, grey float64) {
	if c.doc.dry {
		return
	}
	level := int(grey*255 + 0.5)
	c.doc.pdf.SetFillColor(level, level, level)
	c.doc.pdf.Rect(c.x+x, c.y+y, width, height, "F")
}

// Circle draws a circle around x, y.
func (c Canvas) Circle(x, y, radius, thick float64) {
	if c.doc.dry {
		return
	}
	c.doc.pdf.SetLineWidth(thick)
	c.doc.pdf.Circle(c.x+x, c.y+y, radius, "D")
}

// TextWidth is how wide a line of text would be.
func (c Canvas) TextWidth(s Style, text string) float64 { return c.doc.textWidth(s, text) }

func (d *Doc) textWidth(s Style, text string) float64 {
	d.font(s)
	return d.pdf.GetStringWidth(d.glyf.drawable(text))
}

// Put writes one line into the width at x; y is the top of the line. What is too
// long is cut, and ends in "…".
func (c Canvas) Put(x, y, width float64, align Align, s Style, text string) {
	if c.doc.dry {
		return
	}
	c.line(x, y, width, align, s, c.doc.clip(s, text, width))
}

// line writes a line that fits.
func (c Canvas) line(x, y, width float64, align Align, s Style, text string) {
	if c.doc.dry || text == "" {
		return
	}
	d := c.doc
	d.font(s)
	if free := width - d.pdf.GetStringWidth(text); align == Middle {
		x += free / 2
	} else if align == Right {
		x += free
	}
	ink := 0
	if s.White {
		ink = 255
	}
	d.pdf.SetTextColor(ink, ink, ink)
	d.pdf.Text(c.x+x, c.y+y+s.baseline(), text)
}

// Paragraph writes text broken into lines of at most width, and returns how high it
// is.
func (c Canvas) Paragraph(x, y, width float64, s Style, text string) float64 {
	lines := c.doc.wrap(s, text, width)
	for i, line := range lines {
		c.line(x, y+float64(i)*s.Line(), width, Left, s, line)
	}
	return float64(len(lines)) * s.Line()
}

// Mark is what stands in a box.
type Mark int

const (
	Empty   Mark = iota // to be ticked
	Ticked              // done
	Crossed             // done, and not good
	Barred              // not to be filled in: a line through it
)

// Box draws a square box of side millimetres with its mark.
func (c Canvas) Box(x, y, side float64, mark Mark) {
	c.Rect(x, y, side, side, 0.5)
	at := func(x1, y1, x2, y2 float64) {
		c.Line(x+x1*side, y+y1*side, x+x2*side, y+y2*side, side*0.11)
	}
	switch mark {
	case Ticked:
		at(0.18, 0.52, 0.42, 0.78)
		at(0.42, 0.78, 0.84, 0.2)
	case Crossed:
		at(0.2, 0.2, 0.8, 0.8)
		at(0.2, 0.8, 0.8, 0.2)
	case Barred:
		at(0.15, 0.5, 0.85, 0.5)
	}
}

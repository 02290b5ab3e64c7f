package paper

// Heading is a line that names what follows; level 1 is the document's, 2 a
// section's. It stays with the first 20 mm of what follows.
func (d *Doc) Heading(level int, text string) {
	style := Style{Face: Bold, SizePoints: 18}
	if level > 1 {
		style.SizePoints = 13
	}
	lines := d.wrap(style, text, d.width)
	d.Gap(style.Line() / 2)
	d.need(float64(len(lines))*style.Line() + 20)
	d.lines(style, lines, 0)
	d.Gap(1)
}

// Text is a paragraph.
func (d *Doc) Text(s Style, text string) { d.Indent(s, 0, text) }

// Indent is a paragraph that begins indent millimetres to the right.
func (d *Doc) Indent(s Style, indent float64, text string) {
	d.lines(s, d.wrap(s, text, d.width-indent), indent)
}

func (d *Doc) lines(s Style, lines []string, indent float64) {
	for _, line := range lines {
		d.take(s.Line()).line(indent, 0, d.width-indent, Left, s, line)
	}
}

// Item is a paragraph with a label in bold left of its first line, such as a step
// with its number. The text begins at indent; a label that is wider has a line of its
// own above.
func (d *Doc) Item(indent float64, label string, s Style, text string) {
	bold := s
	bold.Face = Bold
	if d.textWidth(bold, label) > indent-1 {
		d.Text(bold, label)
		label = ""
	}
	for i, line := range d.wrap(s, text, d.width-indent) {
		c := d.take(s.Line())
		if i == 0 {
			c.Put(0, 0, indent, Left, bold, label)
		}
		c.line(indent, 0, d.width-indent, Left, s, line)
	}
}

// TextWidth is how wide a line of text would be, in millimetres.
func (d *Doc) TextWidth(s Style, text string) float64 { return d.textWidth(s, text) }

// Rule is a thin line across the page.
func (d *Doc) Rule() { d.take(1.5).Line(0, 0.75, d.width, 0.75, 0.2) }

// Draw takes height and lets fn draw on it.
func (d *Doc) Draw(height float64, fn func(Canvas)) { fn(d.take(height)) }

const cautionPad = 2.5

// Caution is a box with a thick edge that warns: title, white on black, above text.
// It stays on one page unless it is longer than one.
func (d *Doc) Caution(title, text string) {
	style, head := Style{Face: Bold, SizePoints: 11.5}, Style{Face: Bold, SizePoints: 11.5, White: true}
	lines := d.wrap(style, text, d.width-2*cautionPad)
	most := max(1, int((d.bottom-d.top-head.Line()-3*cautionPad)/style.Line()))
	for len(lines) > 0 {
		n := min(most, len(lines))
		c := d.take(head.Line() + float64(n)*style.Line() + 2*cautionPad)
		c.Fill(0, 0, c.Width, head.Line()+1, 0)
		c.Put(cautionPad, 0.5, c.Width-2*cautionPad, Left, head, title)
		c.Rect(0.4, 0.4, c.Width-0.8, c.Height-0.8, 0.8)
		for i, line := range lines[:n] {
			c.line(cautionPad, head.Line()+cautionPad-0.5+float64(i)*style.Line(), c.Width, Left, style, line)
		}
		lines = lines[n:]
	}
}

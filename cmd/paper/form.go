package paper

// TickIndent is where the text beside a box to tick begins, in millimetres.
const TickIndent = boxSide + 3

const (
	boxSide   = 7.0  // a box to tick, for a pencil in a glove
	fillLine  = 10.0 // a line to write on
	fillLabel = 9.0  // points
)

// Tick is a box to tick with text right of it, the text's first line level with the
// box. The text stays on one page with its box, unless it is longer than one.
func (d *Doc) Tick(mark Mark, s Style, text string) {
	lines := d.wrap(s, text, d.width-TickIndent)
	height := max(boxSide, float64(len(lines))*s.Line()) + 1.5
	if height > d.bottom-d.top {
		d.take(boxSide).Box(0, 0, boxSide, mark)
		d.lines(s, lines, TickIndent)
		return
	}
	c := d.take(height)
	c.Box(0, 0, boxSide, mark)
	for i, line := range lines {
		c.line(TickIndent, (boxSide-s.Line())/2+float64(i)*s.Line(), c.Width, Left, s, line)
	}
}

// Choice is a box in a row of boxes.
type Choice struct {
	Mark Mark
	Text string
}

// Choices is a row of boxes with a word right of each, on several lines where they
// do not fit on one.
func (d *Doc) Choices(s Style, indent float64, choices ...Choice) {
	const between = 6.0
	x, height := indent, boxSide+1.5
	c := d.take(height)
	for _, o := range choices {
		width := boxSide + 2 + d.textWidth(s, o.Text)
		if x > indent && x+width > d.width {
			x, c = indent, d.take(height)
		}
		c.Box(x, 0, boxSide, o.Mark)
		c.Put(x+boxSide+2, (boxSide-s.Line())/2, d.width-x-boxSide-2, Left, s, o.Text)
		x += width + between
	}
}

// Field is a line to write on.
type Field struct {
	Label string  // in small letters, before the line
	Share float64 // how much of the width it takes, beside the others; 0 is 1
	Value string  // printed on the line, where it is known already
	After string  // after the line, such as a unit
}

// Fields is a row of lines to write on, indent millimetres from the left. Labels and
// units are cut where they take more than their share.
func (d *Doc) Fields(indent float64, fields ...Field) {
	label, value := Style{SizePoints: fillLabel}, Style{Face: Bold}
	const gap, pad = 4.0, 1.5
	all := 0.0
	for _, f := range fields {
		all += f.share()
	}
	c := d.take(fillLine)
	x, room := indent, d.width-indent-gap*float64(len(fields)-1)
	base := fillLine - 1.5
	for _, f := range fields {
		width := room * f.share() / all
		before := min(d.textWidth(label, f.Label)+pad, width*0.6)
		after := min(d.textWidth(value, f.After)+pad, width*0.4)
		if f.Label == "" {
			before = 0
		}
		if f.After == "" {
			after = 0
		}
		c.Put(x, base-label.Line()+0.8, before, Left, label, f.Label)
		c.Line(x+before, base, x+width-after, base, 0.3)
		c.Put(x+before+pad, base-value.Line()+0.3, width-before-after-2*pad, Left, value, f.Value)
		c.Put(x+width-after+pad, base-value.Line()+0.8, after, Left, value, f.After)
		x += width + gap
	}
}

func (f Field) share() float64 {
	if f.Share == 0 {
		return 1
	}
	return f.Share
}

// Signature is the place of one hand-written signature.
type Signature struct {
	For        string // what it is for, such as "signed as lead"
	Name, Time string // printed where they are known
	Note       string // printed in place of the line to sign on
}

// Sign is a place to sign: what for, then name, time and signature. It stays on one
// page.
func (d *Doc) Sign(indent float64, s Signature) {
	d.Keep(func() {
		d.Indent(Style{Face: Bold, SizePoints: 10.5}, indent, s.For)
		d.Fields(indent,
			Field{Label: "name", Share: 4, Value: s.Name},
			Field{Label: "time (UTC)", Share: 4, Value: s.Time},
			Field{Label: "signature", Share: 5, Value: s.Note})
	})
}

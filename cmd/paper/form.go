package paper

// TickIndent is where the text beside a box to tick begins, in millimetres.
const TickIndent = boxSide + 3

const (
	boxSide  = 7.0  // a box to tick, for a pencil in a glove
	fillLine = 10.0 // a line to write on
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

// Field is a line to write on, or a box to tick.
type Field struct {
	Label string  // in small letters, before the line; a box has it in bold behind it
	Share float64 // how much of the width the line takes, beside the others; 0 is 1
	Value string  // printed on the line, where it is known already
	After string  // after the line, such as a unit

	Box  bool // a box to tick in place of the line; it takes what it needs
	Mark Mark // in the box
}

var (
	labelStyle = Style{SizePoints: 9}
	valueStyle = Style{Face: Bold}
)

// Fields is a row of lines to write on and boxes to tick, indent millimetres from the
// left. Labels and units are cut where they take more than their share.
func (d *Doc) Fields(indent float64, fields ...Field) {
	const gap = 4.0
	all, room := 0.0, d.width-indent-gap*float64(len(fields)-1)
	for _, f := range fields {
		if f.Box {
			room -= d.boxWidth(f)
		} else {
			all += f.share()
		}
	}
	c, x := d.take(fillLine), indent
	for _, f := range fields {
		width := d.boxWidth(f)
		if f.Box {
			c.Box(x, fillLine-1.5-boxSide, boxSide, f.Mark)
			c.Put(x+boxSide+1.5, fillLine-1.5-boxSide+(boxSide-valueStyle.Line())/2, width, Left, valueStyle, f.Label)
		} else {
			width = room * f.share() / all
			c.field(x, width, f)
		}
		x += width + gap
	}
}

func (d *Doc) boxWidth(f Field) float64 { return boxSide + 2 + d.textWidth(valueStyle, f.Label) }

func (c Canvas) field(x, width float64, f Field) {
	const pad, base = 1.5, fillLine - 1.5
	before, after := 0.0, 0.0
	if f.Label != "" {
		before = min(c.TextWidth(labelStyle, f.Label)+pad, width*0.6)
	}
	if f.After != "" {
		after = min(c.TextWidth(valueStyle, f.After)+pad, width*0.4)
	}
	c.Put(x, base-labelStyle.Line()+0.8, before, Left, labelStyle, f.Label)
	c.Line(x+before, base, x+width-after, base, 0.3)
	c.Put(x+before+pad, base-valueStyle.Line()+0.3, width-before-after-2*pad, Left, valueStyle, f.Value)
	c.Put(x+width-after+pad, base-valueStyle.Line()+0.8, after, Left, valueStyle, f.After)
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

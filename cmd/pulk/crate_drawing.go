package main

import (
	"bytes"
	"fmt"
	"html"
	"slices"
	"strings"
	"time"

	"pulk/cmd/paper"
	"pulk/inventory/packing"
)

// A layer is the boxes that stand at one height.
type layer struct {
	up     int // mm above the floor
	places []cratePlace
}

// layers are those of a load, from the floor up.
func (l *crateLoad) layers() []layer {
	byHeight := map[int][]cratePlace{}
	for _, p := range l.Places {
		byHeight[p.At[2]] = append(byHeight[p.At[2]], p)
	}
	var list []layer
	for up, places := range byHeight {
		list = append(list, layer{up, places})
	}
	slices.SortFunc(list, func(a, b layer) int { return a.up - b.up })
	return list
}

// below are the boxes of lower layers that reach up to a layer or through it.
func (l *crateLoad) below(up int) []cratePlace {
	var list []cratePlace
	for _, p := range l.Places {
		if p.At[2] < up && p.At[2]+p.Size[2] > up {
			list = append(list, p)
		}
	}
	return list
}

// picture is a view of a load: a sheet of so many millimetres across and down, with boxes on
// it from the farthest to the nearest.
type picture struct {
	name, title, note string
	across, down      float64
	boxes             []drawn
	centre            [2]float64
	allowed           *[4]float64 // where the centre may lie: left, top, right, bottom; nil anywhere
}

// drawn is a box on a picture.
type drawn struct {
	x, y, across, down float64
	order              int
	box                string
	grey               bool // it only reaches through
	hidden             bool // a nearer one lies on its middle, where its name would stand
}

// The notes below pictures. The front is where the door is, if there is one.
const (
	planNote = "seen from above; back on the left, front on the right; the left side, as seen from the front, is at the bottom"
	sideNote = "seen from the left side; back on the left, front on the right; nearer boxes hide those behind them"
	endNote  = "seen from the front; nearer boxes hide those behind them"
	doorNote = "seen from the front, through the door; nearer boxes hide those behind them"
	markNote = "number: order of loading; grey: boxes that reach through from below; cross: centre of mass; dashes: where it may lie"
)

// pictures are the views of a load: from the left side, from the front, and each layer
// from above.
func (l *crateLoad) pictures() []picture {
	front := endNote
	if l.kind.Opening == packing.OpenEnd {
		front = doorNote
	}
	side := l.sorted(1)
	slices.Reverse(side) // the least across is the nearest
	list := []picture{
		l.picture("side", "from the side", sideNote, 0, side, nil),
		l.picture("front", "from the front", front, 1, l.sorted(0), nil),
	}
	for n, of := range l.layers() {
		list = append(list, l.picture(fmt.Sprintf("layer-%02d", n+1), fmt.Sprintf("layer %d, %d mm above the floor", n+1, of.up), planNote, 2, of.places, l.below(of.up)))
	}
	return list
}

// sorted are the places by where they begin along an axis.
func (l *crateLoad) sorted(axis int) []cratePlace {
	return slices.SortedStableFunc(slices.Values(l.Places), func(a, b cratePlace) int { return a.At[axis] - b.At[axis] })
}

// picture makes one view. Its sheet shows length and height (of 0), width and height (of
// 1), or length and width (of 2), with the second of them upwards.
func (l *crateLoad) picture(name, title, note string, of int, places, grey []cratePlace) picture {
	u, v := [...]int{0, 1, 0}[of], [...]int{2, 2, 1}[of]
	p := picture{name: name, title: title, note: note, across: float64(l.kind.Size[u]), down: float64(l.kind.Size[v])}
	put := func(of cratePlace, grey bool) {
		p.boxes = append(p.boxes, drawn{float64(of.At[u]), p.down - float64(of.At[v]+of.Size[v]), float64(of.Size[u]), float64(of.Size[v]), of.Order, of.Box, grey, false})
	}
	for _, g := range grey {
		put(g, true)
	}
	for _, b := range places {
		put(b, false)
	}
	p.hide()
	p.centre = [2]float64{l.Centre[u], p.down - l.Centre[v]}
	low, high := l.kind.CentreMin, l.kind.CentreMax
	if high[u] > 0 || high[v] > 0 {
		for _, axis := range []int{u, v} {
			if high[axis] == 0 {
				low[axis], high[axis] = 0, 1
			}
		}
		p.allowed = &[4]float64{low[u] * p.across, p.down * (1 - high[v]), high[u] * p.across, p.down * (1 - low[v])}
	}
	return p
}

// hide marks what has no room for its name.
func (p *picture) hide() {
	const margin = 0.015 // of the sheet, which a name takes about the middle
	for i := range p.boxes {
		b := &p.boxes[i]
		x, y, dx, dy := b.x+b.across/2, b.y+b.down/2, margin*p.across, margin*p.down
		b.hidden = b.grey || slices.ContainsFunc(p.boxes[i+1:], func(o drawn) bool {
			return x+dx > o.x && x-dx < o.x+o.across && y+dy > o.y && y-dy < o.y+o.down
		})
	}
}

// svg draws a picture that stands alone, under the title of its load.
func (p *picture) svg(load string) string {
	const width, left, top, highest = 900.0, 20.0, 70.0, 700.0
	scale := min((width-2*left)/p.across, highest/p.down)
	high := scale * p.down
	var body strings.Builder
	for _, b := range p.boxes {
		x, y, w, h := left+scale*b.x, top+scale*b.y, scale*b.across, scale*b.down
		class := "b"
		if b.grey {
			class = "u"
		}
		fmt.Fprintf(&body, "<rect class=\"%s\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\"/>", class, x, y, w, h)
		if !b.hidden && w > 16 && h > 14 {
			fmt.Fprintf(&body, "<text class=\"m\" x=\"%.1f\" y=\"%.1f\">%d</text>", x+w/2, y+h/2+4, b.order)
		}
		if !b.hidden && h > 38 {
			fmt.Fprintf(&body, "<text class=\"s\" x=\"%.1f\" y=\"%.1f\">%s</text>", x+w/2, y+h/2+16, html.EscapeString(shortened(b.box, int(w/7))))
		}
		body.WriteByte('\n')
	}
	if a := p.allowed; a != nil {
		fmt.Fprintf(&body, "<rect class=\"a\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\"/>", left+scale*a[0], top+scale*a[1], scale*(a[2]-a[0]), scale*(a[3]-a[1]))
	}
	x, y := left+scale*p.centre[0], top+scale*p.centre[1]
	fmt.Fprintf(&body, "<path class=\"c\" d=\"M%.1f %.1fh16M%.1f %.1fv16\"/>", x-8, y, x, y-8)
	return fmt.Sprintf("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %g %.1f\" width=\"%g\" height=\"%.1f\" role=\"img\" aria-label=\"%s\">\n"+
		"<style>text{font:13px sans-serif;fill:#16202b}.t{font-size:17px;font-weight:bold}.m{text-anchor:middle;font-weight:bold}.s{text-anchor:middle;font-size:10px}.b{fill:#fff;stroke:#16202b;stroke-width:1.5}.u{fill:#d5dade;stroke:#8b97a1}.c{stroke:#8a1c1c;stroke-width:2.5}.a{fill:none;stroke:#8a1c1c;stroke-width:1.5;stroke-dasharray:7 5}.o{fill:none;stroke:#16202b;stroke-width:3}.n{font-size:10px}</style>\n"+
		"<rect width=\"100%%\" height=\"100%%\" fill=\"#fff\"/><text class=\"t\" x=\"%g\" y=\"28\">%s</text><text x=\"%g\" y=\"50\">%s</text>\n%s<rect class=\"o\" x=\"%g\" y=\"%g\" width=\"%.1f\" height=\"%.1f\"/>\n"+
		"<text class=\"n\" x=\"%g\" y=\"%.1f\">%s</text><text class=\"n\" x=\"%g\" y=\"%.1f\">%s</text>\n</svg>\n",
		width, top+high+54, width, top+high+54, html.EscapeString(load+", "+p.title), left, html.EscapeString(load), left, html.EscapeString(p.title), body.String(), left, top, scale*p.across, high,
		left, top+high+24, p.note, left, top+high+38, markNote)
}

func shortened(text string, letters int) string {
	runes := []rune(text)
	switch {
	case letters < 2:
		return ""
	case len(runes) <= letters:
		return text
	}
	return string(runes[:letters-1]) + "…"
}

// pdf prints lists and layers of all loads.
func (p *cratePlan) pdf(size paper.Size, made time.Time) ([]byte, error) {
	d := paper.New(paper.Options{Size: size, Made: made, Title: "Loading plan", Head: "Loading plan", Right: "made " + made.UTC().Format("2006-01-02 15:04Z"), Foot: "in the order of loading"})
	d.Heading(1, "Loading plan")
	d.Caution("Caution", liftCaution)
	for i := range p.Loads {
		l := &p.Loads[i]
		if i > 0 {
			d.NewPage()
		}
		d.Heading(2, l.title())
		d.Text(paper.Style{SizePoints: 9}, l.facts())
		d.Table(l.table())
		d.Text(paper.Style{SizePoints: 8}, "In the pictures "+markNote+".")
		for _, view := range l.pictures() {
			d.Keep(func() { view.print(d, size) })
		}
	}
	if len(p.Left) > 0 {
		t := paper.Table{SizePoints: 8, Columns: []paper.Column{{Head: "left out"}, {Head: "name", Share: 2}, {Head: "count", Align: paper.Right}, {Head: "why", Share: 3}}}
		for _, l := range p.Left {
			t.Rows = append(t.Rows, []string{l.Box, l.Name, fmt.Sprint(l.Count), l.Reason})
		}
		d.Heading(2, "Left out")
		d.Table(t)
	}
	var out bytes.Buffer
	err := d.Write(&out)
	return out.Bytes(), err
}

func (l *crateLoad) table() paper.Table {
	t := paper.Table{SizePoints: 8, Columns: []paper.Column{{Head: "in", Share: 0.4}, {Head: "order", Share: 0.6, Align: paper.Right}, {Head: "box"}, {Head: "name", Share: 2.4}, {Head: "along, across, up mm", Share: 1.8}, {Head: "size mm", Share: 1.8}, {Head: "upright"},
		{Head: "kg", Align: paper.Right}, {Head: "on top kg", Align: paper.Right}}}
	for _, b := range l.Places {
		t.Rows = append(t.Rows, []string{"", fmt.Sprint(b.Order), b.Box, b.Name, fmt.Sprintf("%d, %d, %d", b.At[0], b.At[1], b.At[2]), sidesText(b.Size), b.Upright, fmt.Sprintf("%.1f", float64(b.Grams)/1000), fmt.Sprintf("%.1f", float64(b.OnTop)/1000)})
	}
	return t
}

// print draws a picture on a page.
func (p *picture) print(d *paper.Doc, size paper.Size) {
	const margin, highest = 30.0, 110.0
	scale := min((size.WidthMillimetres-2*margin)/p.across, highest/p.down)
	d.Heading(3, upperFirst(p.title))
	d.Text(paper.Style{SizePoints: 7}, upperFirst(p.note)+".")
	d.Draw(scale*p.down+4, func(c paper.Canvas) {
		for _, b := range p.boxes {
			x, y, w, h := scale*b.x, scale*b.y, scale*b.across, scale*b.down
			grey := 1.0
			if b.grey {
				grey = 0.85
			}
			c.Fill(x, y, w, h, grey)
			c.Rect(x, y, w, h, 0.2)
			if b.hidden {
				continue
			}
			if w > 4 && h > 3 {
				c.Put(x, y+h/2-2, w, paper.Middle, paper.Style{SizePoints: 7}, fmt.Sprint(b.order))
			}
			if w > 9 && h > 7 {
				c.Put(x, y+h/2+1, w, paper.Middle, paper.Style{SizePoints: 6}, b.box)
			}
		}
		if a := p.allowed; a != nil {
			dashed(c, scale*a[0], scale*a[1], scale*a[2], scale*a[3])
		}
		c.Rect(0, 0, scale*p.across, scale*p.down, 0.6)
		x, y := scale*p.centre[0], scale*p.centre[1]
		c.Line(x-3, y, x+3, y, 0.5)
		c.Line(x, y-3, x, y+3, 0.5)
	})
}

// dashed draws a rectangle in dashes of 2 mm.
func dashed(c paper.Canvas, x1, y1, x2, y2 float64) {
	const dash = 2.0
	for x := x1; x < x2; x += 2 * dash {
		c.Line(x, y1, min(x+dash, x2), y1, 0.3)
		c.Line(x, y2, min(x+dash, x2), y2, 0.3)
	}
	for y := y1; y < y2; y += 2 * dash {
		c.Line(x1, y, x1, min(y+dash, y2), 0.3)
		c.Line(x2, y, x2, min(y+dash, y2), 0.3)
	}
}

package main

import (
	"bytes"
	"fmt"
	"html"
	"slices"
	"strings"
	"time"

	"pulk/cmd/paper"
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

func (l *crateLoad) layerTitle(of layer, n int) string {
	return fmt.Sprintf("layer %d, %d mm above the floor", n+1, of.up)
}

const planNote = "seen from above; back on the left, door on the right; number: order of loading; grey: boxes that reach through from below; cross: centre of mass"

// layerSVG draws a layer from above, as a picture that stands alone.
func (l *crateLoad) layerSVG(of layer, n int) string {
	const width, left, top = 900.0, 20.0, 70.0
	scale := (width - 2*left) / float64(l.kind.Size[0])
	high := scale * float64(l.kind.Size[1])
	var body strings.Builder
	rect := func(p cratePlace, class string) {
		fmt.Fprintf(&body, "<rect class=\"%s\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\"/>", class, left+scale*float64(p.At[0]), top+scale*float64(p.At[1]), scale*float64(p.Size[0]), scale*float64(p.Size[1]))
	}
	for _, p := range l.below(of.up) {
		rect(p, "u")
	}
	for _, p := range of.places {
		rect(p, "b")
		x, y := left+scale*(float64(p.At[0])+float64(p.Size[0])/2), top+scale*(float64(p.At[1])+float64(p.Size[1])/2)
		fmt.Fprintf(&body, "<text class=\"m\" x=\"%.1f\" y=\"%.1f\">%d</text><text class=\"s\" x=\"%.1f\" y=\"%.1f\">%s</text>\n", x, y, p.Order, x, y+13, html.EscapeString(shortened(p.Box, int(scale*float64(p.Size[0])/7))))
	}
	x, y := left+scale*l.Centre[0], top+scale*l.Centre[1]
	fmt.Fprintf(&body, "<path class=\"c\" d=\"M%.1f %.1fh16M%.1f %.1fv16\"/>", x-8, y, x, y-8)
	title := l.title()
	return fmt.Sprintf("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %g %.1f\" width=\"%g\" height=\"%.1f\" role=\"img\" aria-label=\"%s\">\n"+
		"<style>text{font:13px sans-serif;fill:#16202b}.t{font-size:17px;font-weight:bold}.m{text-anchor:middle;font-weight:bold}.s{text-anchor:middle;font-size:10px}.b{fill:#fff;stroke:#16202b;stroke-width:1.5}.u{fill:#d5dade;stroke:#8b97a1}.c{stroke:#8a1c1c;stroke-width:2.5}.o{fill:none;stroke:#16202b;stroke-width:3}</style>\n"+
		"<rect width=\"100%%\" height=\"100%%\" fill=\"#fff\"/><text class=\"t\" x=\"%g\" y=\"28\">%s</text><text x=\"%g\" y=\"50\">%s</text>\n%s<rect class=\"o\" x=\"%g\" y=\"%g\" width=\"%.1f\" height=\"%.1f\"/>\n<text class=\"s\" style=\"text-anchor:start\" x=\"%g\" y=\"%.1f\">%s</text>\n</svg>\n",
		width, top+high+40, width, top+high+40, html.EscapeString(title), left, html.EscapeString(title), left, html.EscapeString(l.layerTitle(of, n)), body.String(), left, top, scale*float64(l.kind.Size[0]), high, left, top+high+24, planNote)
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
		d.Text(paper.Style{SizePoints: 8}, "Layers: "+planNote+".")
		for n, of := range l.layers() {
			d.Keep(func() { l.printLayer(d, size, of, n) })
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

func (l *crateLoad) printLayer(d *paper.Doc, size paper.Size, of layer, n int) {
	const margin, highest = 30.0, 110.0
	scale := min((size.WidthMillimetres-2*margin)/float64(l.kind.Size[0]), highest/float64(l.kind.Size[1]))
	d.Heading(3, upperFirst(l.layerTitle(of, n)))
	d.Draw(scale*float64(l.kind.Size[1])+4, func(c paper.Canvas) {
		rect := func(p cratePlace, grey bool) {
			x, y, w, h := scale*float64(p.At[0]), scale*float64(p.At[1]), scale*float64(p.Size[0]), scale*float64(p.Size[1])
			if grey {
				c.Fill(x, y, w, h, 0.85)
			}
			c.Rect(x, y, w, h, 0.2)
		}
		for _, p := range l.below(of.up) {
			rect(p, true)
		}
		for _, p := range of.places {
			rect(p, false)
			x, y, w, h := scale*float64(p.At[0]), scale*float64(p.At[1]), scale*float64(p.Size[0]), scale*float64(p.Size[1])
			if w > 4 && h > 3 {
				c.Put(x, y+h/2-2, w, paper.Middle, paper.Style{SizePoints: 7}, fmt.Sprint(p.Order))
			}
			if w > 9 && h > 7 {
				c.Put(x, y+h/2+1, w, paper.Middle, paper.Style{SizePoints: 6}, p.Box)
			}
		}
		c.Rect(0, 0, scale*float64(l.kind.Size[0]), scale*float64(l.kind.Size[1]), 0.6)
		x, y := scale*l.Centre[0], scale*l.Centre[1]
		c.Line(x-3, y, x+3, y, 0.5)
		c.Line(x, y-3, x, y+3, 0.5)
	})
}

package main

import (
	"fmt"
	"html"
	"strings"
)

// The drawing of an assembly, in the units of its viewBox.
const (
	svgWidth  = 760
	svgTop    = 112.0
	svgRow    = 26.0
	svgNote   = 16.0 // a line of what is not as planned
	svgBottom = 56.0
	svgRule   = 210.0 // where the string or cable runs
	svgWords  = 88    // letters in a line of what is not as planned
)

const svgStyle = `text{font:13px sans-serif;fill:#16202b}.t{font-size:19px;font-weight:bold}.h{font-size:12px;fill:#4a5865}.n{font-size:12px;fill:#8a1c1c}` +
	`.r{text-anchor:end}.p{fill:#4a5865}.c{stroke:#16202b;stroke-width:3;fill:none}.e{fill:#fff;stroke:#16202b;stroke-width:2}.f{fill:#16202b;stroke:#16202b;stroke-width:2}.d{fill:#fff;stroke:#8a1c1c;stroke-width:2.5}`

// svg draws the assembly as a picture that stands alone: a line for the string or
// cable, and on it a full circle for each slot that is filled, an empty one for each
// that is not, a square with a mark for what is not as planned. It is not to scale.
func (d *assemblyDetail) svg() string {
	rows, byDepth := d.drawn()
	var body strings.Builder
	text := func(x, y float64, class, s string) {
		if s != "" {
			fmt.Fprintf(&body, "<text x=\"%g\" y=\"%g\" class=\"%s\">%s</text>\n", x, y, class, html.EscapeString(s))
		}
	}
	title := fmt.Sprintf("Assembly %s, part %s", d.Serial, d.Part)
	text(20, 34, "t", title)
	text(20, 56, "h", d.planLine())
	text(20, 74, "h", fmt.Sprintf("%d of %d slots filled, %d not as planned; not to scale", d.Fitted, d.Slots, d.Deviating))
	heads := [2]string{"built m", "planned m"}
	for i, x := range []float64{92, 176} {
		text(x, svgTop-14, "h r", heads[i])
	}
	for _, head := range []struct {
		x    float64
		text string
	}{{238, "slot"}, {300, "unit"}, {420, "state"}, {510, "channel"}, {600, "expected"}} {
		text(head.x, svgTop-14, "h", head.text)
	}
	y := svgTop + svgRow/2
	var marks strings.Builder
	for _, s := range rows {
		s.svgRow(text, &marks, y, byDepth)
		for _, line := range s.deviationLines() {
			y += svgNote
			text(238, y+3, "n", line)
		}
		y += svgRow
	}
	height := y + svgBottom - svgRow
	text(20, height-14, "h", "full circle: filled; empty circle: empty; square: not as planned; channel in grey: planned, nothing said as built")
	return fmt.Sprintf("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d %g\" width=\"%d\" height=\"%g\" role=\"img\" aria-label=\"%s\">\n<style>%s</style>\n<rect width=\"100%%\" height=\"100%%\" fill=\"#fff\"/>\n<path class=\"c\" d=\"M%g %gV%g\"/>\n%s%s</svg>\n",
		svgWidth, height, svgWidth, height, html.EscapeString(title), svgStyle, svgRule, svgTop-8, y-svgRow/2, marks.String(), body.String())
}

func (s *slotRow) svgRow(text func(x, y float64, class, s string), marks *strings.Builder, y float64, byDepth bool) {
	planned, built := s.Depth, s.DepthBuilt
	if !byDepth {
		planned, built = s.Position, s.PositionBuilt
	}
	text(92, y+4, "r", orEmpty(built))
	text(176, y+4, "r p", orEmpty(planned))
	switch {
	case len(s.Deviations) > 0:
		fmt.Fprintf(marks, "<rect class=\"d\" x=\"%g\" y=\"%g\" width=\"18\" height=\"18\"/><path class=\"d\" d=\"M%g %gv8m0 3v2\"/>\n", svgRule-9, y-9, svgRule, y-6)
	case len(s.Units) > 0:
		fmt.Fprintf(marks, "<circle class=\"f\" cx=\"%g\" cy=\"%g\" r=\"8\"/>\n", svgRule, y)
	default:
		fmt.Fprintf(marks, "<circle class=\"e\" cx=\"%g\" cy=\"%g\" r=\"8\"/>\n", svgRule, y)
	}
	text(238, y+4, "", s.Slot)
	text(300, y+4, "", s.serials())
	if len(s.Units) > 0 {
		text(420, y+4, "", s.Units[0].State)
	}
	class := "p"
	if s.ChannelBuilt != "" {
		class = ""
	}
	text(510, y+4, class, s.channelText())
	text(600, y+4, "p", s.Part)
}

func (s *slotRow) deviationLines() []string {
	if len(s.Deviations) == 0 {
		return nil
	}
	return wrap(strings.Join(s.Deviations, "; "), svgWords)
}

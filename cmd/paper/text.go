package paper

import (
	"strings"
	"unicode"

	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// Face is one of the three fonts that are part of the program: the Go fonts, under
// the licence of Go (BSD), with Latin, Greek and Cyrillic letters and the signs of
// units and limits.
type Face int

const (
	Regular Face = iota
	Bold
	Mono
)

var faces = [...][]byte{Regular: goregular.TTF, Bold: gobold.TTF, Mono: gomono.TTF}

// Style is how text looks. Without a size it is 11 points.
type Style struct {
	Face       Face
	SizePoints float64
	White      bool // white, for text on black
}

const millimetresPerPoint = 25.4 / 72

func (s Style) points() float64 {
	if s.SizePoints == 0 {
		return 11
	}
	return s.SizePoints
}

// Line is how high a line of text is, in millimetres.
func (s Style) Line() float64 { return 1.3 * s.points() * millimetresPerPoint }

// baseline is where letters stand below the top of a line. The Go fonts rise
// 0.94 of their size above it and fall 0.21 below.
func (s Style) baseline() float64 { return 1.02 * s.points() * millimetresPerPoint }

// Align is where a line of text stands in its room.
type Align int

const (
	Left Align = iota
	Middle
	Right
)

// missing stands for a letter that the fonts do not have, so that it is seen.
const missing = '□'

// glyphs answers which letters the fonts have.
type glyphs struct {
	font   *sfnt.Font
	buffer sfnt.Buffer
	known  map[rune]bool
}

func (g *glyphs) has(r rune) bool {
	if r > 0xffff { // nor can the PDF library take one
		return false
	}
	if g.font == nil {
		font, err := sfnt.Parse(goregular.TTF)
		if err != nil {
			panic(err) // part of the program
		}
		g.font, g.known = font, map[rune]bool{}
	}
	has, ok := g.known[r]
	if !ok {
		index, err := g.font.GlyphIndex(&g.buffer, r)
		has = err == nil && index != 0
		g.known[r] = has
	}
	return has
}

// drawable is text as the fonts can show it: boxes for letters that they do not have,
// spaces for tabs and other signs that have no shape. Line breaks stay.
func (g *glyphs) drawable(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case r == '\r' || unicode.Is(unicode.Cf, r):
			return -1
		case unicode.IsSpace(r), unicode.IsControl(r):
			return ' '
		case !g.has(r):
			return missing
		}
		return r
	}, text)
}

func (d *Doc) font(s Style) {
	d.pdf.SetFont([]string{"f0", "f1", "f2"}[s.Face], "", s.points())
}

// wrap breaks text into lines no wider than width. A word that is wider than a
// line is cut. An empty text is one empty line.
func (d *Doc) wrap(s Style, text string, width float64) []string {
	d.font(s)
	var lines []string
	for paragraph := range strings.SplitSeq(d.glyf.drawable(text), "\n") {
		line := ""
		for word := range strings.FieldsSeq(paragraph) {
			joined := word
			if line != "" {
				joined = line + " " + word
			}
			if d.pdf.GetStringWidth(joined) <= width {
				line = joined
				continue
			}
			if line != "" {
				lines = append(lines, line)
			}
			var whole []string
			whole, line = d.cut(word, width)
			lines = append(lines, whole...)
		}
		lines = append(lines, line)
	}
	return lines
}

// cut cuts a word into pieces of at most width; the last, which others may follow, is
// apart. Widths of letters add up: there is no kerning.
func (d *Doc) cut(word string, width float64) (whole []string, last string) {
	from, wide := 0, 0.0
	for i, r := range word {
		letter := d.pdf.GetStringWidth(string(r))
		if i > from && wide+letter > width {
			whole, from, wide = append(whole, word[from:i]), i, 0
		}
		wide += letter
	}
	return whole, word[from:]
}

// clip cuts a line to width and says so by three dots.
func (d *Doc) clip(s Style, text string, width float64) string {
	d.font(s)
	text = strings.ReplaceAll(d.glyf.drawable(text), "\n", " ")
	wide, room, cut := 0.0, width-d.pdf.GetStringWidth("…"), -1
	for i, r := range text {
		if wide += d.pdf.GetStringWidth(string(r)); wide > room && cut < 0 {
			cut = i
		}
		if wide > width {
			return strings.TrimRight(text[:cut], " ") + "…"
		}
	}
	return text
}

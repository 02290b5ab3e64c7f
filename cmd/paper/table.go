package paper

// Column is a column of a table.
type Column struct {
	Head  string
	Share float64 // how much of the width it takes, beside the others; 0 is 1
	Align Align
	Face  Face
}

// Table is rows under heads that are repeated on each page.
type Table struct {
	Columns    []Column
	Rows       [][]string // cells left out are empty
	SizePoints float64    // 9 where it is left out
	RowMin     float64    // the least height of a row, for cells to write in
}

const cellPad = 1.2

// Table lays out a table. A row stays on one page unless it is higher than one.
func (d *Doc) Table(t Table) {
	if t.SizePoints == 0 {
		t.SizePoints = 9
	}
	widths := t.widths(d.width)
	style := Style{SizePoints: t.SizePoints}
	heads := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		heads[i] = c.Head
	}
	head := d.cells(t, widths, heads, true)
	headHeight := height(head, style)
	first := 0.0
	if len(t.Rows) > 0 {
		first = max(t.RowMin, height(d.cells(t, widths, t.Rows[0], false), style))
	}
	d.need(min(headHeight+first, d.bottom-d.top))
	d.row(t, widths, head, headHeight, true)
	for _, texts := range t.Rows {
		d.tableRow(t, widths, head, d.cells(t, widths, texts, false))
	}
}

// tableRow lays out a row: whole, on the next page under the heads again, or, if it
// is higher than a page, in pieces.
func (d *Doc) tableRow(t Table, widths []float64, head, cells [][]string) {
	style := Style{SizePoints: t.SizePoints}
	headHeight := height(head, style)
	room := d.bottom - d.top - headHeight
	for {
		high := max(min(t.RowMin, room), height(cells, style))
		if d.dry || d.y+high <= d.bottom {
			d.row(t, widths, cells, high, false)
			return
		}
		if high > room && d.Room() > 4*style.Line() {
			piece, rest := split(cells, int((d.Room()-2*cellPad)/style.Line()))
			d.row(t, widths, piece, height(piece, style), false)
			cells = rest
		}
		d.page()
		d.row(t, widths, head, headHeight, true)
	}
}

func (t Table) widths(all float64) []float64 {
	sum, widths := 0.0, make([]float64, len(t.Columns))
	for i, c := range t.Columns {
		widths[i] = c.Share
		if c.Share == 0 {
			widths[i] = 1
		}
		sum += widths[i]
	}
	for i := range widths {
		widths[i] *= all / sum
	}
	return widths
}

func (c Column) style(t Table, head bool) Style {
	if head {
		return Style{Face: Bold, SizePoints: t.SizePoints}
	}
	return Style{Face: c.Face, SizePoints: t.SizePoints}
}

// cells breaks the texts of a row into lines.
func (d *Doc) cells(t Table, widths []float64, texts []string, head bool) [][]string {
	cells := make([][]string, len(t.Columns))
	for i, c := range t.Columns {
		if i < len(texts) {
			cells[i] = d.wrap(c.style(t, head), texts[i], widths[i]-2*cellPad)
		}
	}
	return cells
}

func height(cells [][]string, s Style) float64 {
	n := 1
	for _, lines := range cells {
		n = max(n, len(lines))
	}
	return float64(n)*s.Line() + 2*cellPad
}

func split(cells [][]string, n int) (first, rest [][]string) {
	for _, lines := range cells {
		at := min(n, len(lines))
		first, rest = append(first, lines[:at]), append(rest, lines[at:])
	}
	return first, rest
}

func (d *Doc) row(t Table, widths []float64, cells [][]string, high float64, head bool) {
	c := Canvas{d, d.left, d.y, d.width, high}
	d.y += high
	if head {
		c.Fill(0, 0, d.width, high, 0.88)
	}
	x := 0.0
	for i, column := range t.Columns {
		style := column.style(t, head)
		for k, line := range cells[i] {
			c.line(x+cellPad, cellPad+float64(k)*style.Line(), widths[i]-2*cellPad, column.Align, style, line)
		}
		c.Rect(x, 0, widths[i], high, 0.2)
		x += widths[i]
	}
}

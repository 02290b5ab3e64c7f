// Package grid reads tables that people keep in spreadsheets: CSV (RFC 4180) in
// UTF-8 with fixed columns. It names every bad cell by its place, and a table with
// one is refused whole.
package grid

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// CellError says what is wrong with one cell of a table.
type CellError struct {
	Line, Column int // from 1; Column counts cells, 0 is the line as a whole
	What         string
	Expected     string
}

func (e CellError) String() string {
	text := fmt.Sprintf("%d:%d: %s", e.Line, e.Column, e.What)
	if e.Expected != "" {
		text += "; expected " + e.Expected
	}
	return text
}

// Column is a column of a table, and how a cell of it is read into a row: Read
// returns what was expected, or nothing where the cell is good.
type Column[T any] struct {
	Name string
	Read func(row *T, cell string) (expected string)
}

// Of returns a column.
func Of[T any](name string, read func(row *T, cell string) (expected string)) Column[T] {
	return Column[T]{name, read}
}

// Form is what a table has to look like.
type Form[T any] struct {
	Columns  []Column[T]
	Keys     []Key
	BytesMax int
	RowsMax  int // below the line with the names of the columns
}

// Key is a column in which each text stands once; empty cells do not count.
type Key struct {
	Column int    // from 0
	Noun   string // what a cell of it is, in words: "part number"
}

// FaultsMax is how many bad cells are told at once.
const FaultsMax = 1000

const (
	cellMax     = 1000
	rowBytesMax = 64 << 10
)

// Names are the names of the columns, in order.
func (f *Form[T]) Names() []string {
	names := make([]string, len(f.Columns))
	for i, c := range f.Columns {
		names[i] = c.Name
	}
	return names
}

// Parse reads a table. It returns either rows or what is wrong with every bad cell,
// never both.
func (f *Form[T]) Parse(source []byte) ([]*T, []CellError) {
	if len(source) > f.BytesMax {
		return nil, []CellError{{Line: 1, What: fmt.Sprintf("the file has %d bytes", len(source)), Expected: fmt.Sprintf("at most %d", f.BytesMax)}}
	}
	source = bytes.TrimPrefix(source, []byte("\xef\xbb\xbf"))
	if !utf8.Valid(source) {
		return nil, []CellError{{Line: 1 + bytes.Count(source[:validPrefix(source)], []byte("\n")), What: "not UTF-8", Expected: "text saved as UTF-8"}}
	}
	p := parser[T]{form: f, lines: make([]map[string]int, len(f.Keys))}
	p.reader = csv.NewReader(&rowReader{source: bytes.NewReader(source), done: func() int64 { return p.reader.InputOffset() }})
	for i := range p.lines {
		p.lines[i] = map[string]int{}
	}
	p.reader.FieldsPerRecord = -1
	p.reader.ReuseRecord = true
	p.run()
	if len(p.faults) > 0 {
		return nil, p.faults
	}
	return p.rows, nil
}

func validPrefix(source []byte) int {
	n := 0
	for n < len(source) {
		r, size := utf8.DecodeRune(source[n:])
		if r == utf8.RuneError && size <= 1 {
			return n
		}
		n += size
	}
	return n
}

// rowReader hands a file on, and ends it where one row takes more than rowBytesMax: a
// row is in memory with a string header for each of its cells.
type rowReader struct {
	source *bytes.Reader
	handed int64
	done   func() int64 // where the last row ended
}

var errLongRow = fmt.Errorf("more than %d bytes in one line", rowBytesMax)

func (r *rowReader) Read(p []byte) (int, error) {
	if r.handed-r.done() > rowBytesMax {
		return 0, errLongRow
	}
	n, err := r.source.Read(p[:min(len(p), 4<<10)])
	r.handed += int64(n)
	return n, err
}

type parser[T any] struct {
	form   *Form[T]
	reader *csv.Reader
	rows   []*T
	lines  []map[string]int // line of each text, by key
	faults []CellError
}

func (p *parser[T]) fault(line, column int, expected, format string, args ...any) {
	if len(p.faults) < FaultsMax {
		p.faults = append(p.faults, CellError{line, column, fmt.Sprintf(format, args...), expected})
	}
}

func (p *parser[T]) run() {
	for row := 0; row <= p.form.RowsMax; row++ {
		cells, err := p.reader.Read()
		line := 0
		if len(cells) > 0 {
			line, _ = p.reader.FieldPos(0)
		}
		var syntax *csv.ParseError
		switch {
		case errors.Is(err, io.EOF) && row == 0:
			p.fault(1, 0, "a line with the names of the columns", "the file is empty")
			return
		case errors.Is(err, io.EOF):
			return
		case errors.As(err, &syntax):
			p.fault(syntax.Line, 0, "quotes as in RFC 4180", "%s", syntax.Err)
			return
		case err != nil:
			p.fault(line, 0, "", "%s", err)
			return
		case row == 0:
			if !p.heading(cells) {
				return
			}
		default:
			p.row(line, cells)
		}
	}
	p.fault(0, 0, fmt.Sprintf("at most %d", p.form.RowsMax), "too many lines")
}

func (p *parser[T]) heading(cells []string) bool {
	for i, column := range p.form.Columns {
		if i >= len(cells) {
			p.fault(1, i+1, column.Name, "the column is missing")
		} else if cells[i] != column.Name {
			p.fault(1, i+1, column.Name, "the column is called %q", cut(cells[i]))
		}
	}
	if n := len(p.form.Columns); len(cells) > n {
		p.fault(1, n+1, "nothing", "a column too many")
	}
	return len(p.faults) == 0
}

func (p *parser[T]) row(line int, cells []string) {
	if n := len(p.form.Columns); len(cells) != n {
		p.fault(line, len(cells), fmt.Sprintf("%d cells", n), "the line has %d cells", len(cells))
		return
	}
	row := new(T)
	for i, column := range p.form.Columns {
		cell := strings.Clone(cells[i])
		if expected := column.Read(row, cell); expected != "" {
			p.fault(line, i+1, expected, "%s is %q", column.Name, cut(cell))
		} else if len(cell) > cellMax || strings.ContainsAny(cell, "\x00\n\r") || cell != strings.TrimSpace(cell) {
			p.fault(line, i+1, "one line of text without spaces around it", "%s is %q", column.Name, cut(cell))
		}
	}
	for i, key := range p.form.Keys {
		cell := strings.Clone(cells[key.Column])
		if first, ok := p.lines[i][cell]; ok && cell != "" {
			p.fault(line, key.Column+1, "each "+key.Noun+" once", "%s %q stands in line %d already", key.Noun, cut(cell), first)
		}
		p.lines[i][cell] = line
	}
	p.rows = append(p.rows, row)
}

// Needed is what a cell of text that must be there lacks: "a text", or nothing.
func Needed(cell string) string {
	if cell == "" {
		return "a text"
	}
	return ""
}

func cut(text string) string {
	if len(text) > 60 {
		return text[:60] + "…"
	}
	return text
}

// AsText keeps a spreadsheet from reading a text as a formula: what would be one gets
// an apostrophe in front.
func AsText(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return "'" + text
	}
	return text
}

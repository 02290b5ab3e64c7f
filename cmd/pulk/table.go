package main

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// tableWidth is the width that no table exceeds.
const tableWidth = 100

// table is a plain table: a heading, columns padded to their widest cell, the
// widest columns wrapped so that the whole fits.
type table struct {
	head []string
	rows [][]string
}

func newTable(head ...string) *table { return &table{head: head} }

func (t *table) add(cells ...any) {
	row := make([]string, len(t.head))
	for i := range row {
		if i < len(cells) {
			row[i] = fmt.Sprint(cells[i])
		}
	}
	t.rows = append(t.rows, row)
}

// print writes the table, or the words of none where it has no rows.
func (t *table) print(e *env, none string) {
	t.printEach(e, none, func(row func(cells []string)) error {
		for _, cells := range t.rows {
			row(cells)
		}
		return nil
	})
}

// printEach writes a table of the rows that each calls row with, which it does twice, so
// that they need not all be in memory.
func (t *table) printEach(e *env, none string, each func(row func(cells []string)) error) error {
	widths, rows := make([]int, len(t.head)), 0
	widen(widths, t.head)
	if err := each(func(cells []string) { widen(widths, cells); rows++ }); err != nil {
		return err
	}
	if rows == 0 {
		fmt.Fprintln(e.stdout, none)
		return nil
	}
	fit(widths, e.width())
	t.line(e.stdout, widths, t.head)
	rule := make([]string, len(widths))
	for i, width := range widths {
		rule[i] = strings.Repeat("-", width)
	}
	t.line(e.stdout, widths, rule)
	return each(func(cells []string) { t.line(e.stdout, widths, cells) })
}

const columnGap = 2

// widen makes columns as wide as the cells of a row are.
func widen(widths []int, row []string) {
	for i, cell := range row {
		widths[i] = max(widths[i], utf8.RuneCountInString(cell))
	}
}

// fit makes the widest columns narrower until all fit.
func fit(widths []int, most int) {
	for {
		total, widest := -columnGap, 0
		for i, width := range widths {
			total += width + columnGap
			if width > widths[widest] {
				widest = i
			}
		}
		if total <= most || widths[widest] <= 12 {
			return
		}
		widths[widest]-- // by turns, so that two long columns share what there is
	}
}

// line prints one row, over as many lines as its longest cell needs.
func (t *table) line(w io.Writer, widths []int, row []string) {
	wrapped := make([][]string, len(row))
	height := 1
	for i, cell := range row {
		wrapped[i] = wrapIndented(cell, widths[i])
		height = max(height, len(wrapped[i]))
	}
	for n := range height {
		var line strings.Builder
		for i, width := range widths {
			cell := ""
			if n < len(wrapped[i]) {
				cell = wrapped[i][n]
			}
			line.WriteString(cell)
			line.WriteString(strings.Repeat(" ", width-utf8.RuneCountInString(cell)+columnGap))
		}
		fmt.Fprintln(w, strings.TrimRight(line.String(), " "))
	}
}

// wrapIndented is wrap for a cell that begins with spaces: every line of it does.
func wrapIndented(cell string, width int) []string {
	text := strings.TrimLeft(cell, " ")
	indent := strings.Repeat(" ", min(len(cell)-len(text), max(width-1, 0)))
	lines := wrap(text, width-len(indent))
	for i := range lines {
		lines[i] = indent + lines[i]
	}
	return lines
}

// wrap breaks text at spaces into lines of at most width runes; a longer word is
// cut.
func wrap(text string, width int) []string {
	var lines []string
	line := []rune{}
	flush := func() { lines, line = append(lines, string(line)), nil }
	for _, word := range strings.Fields(text) {
		runes := []rune(word)
		if len(line) > 0 && len(line)+1+len(runes) > width {
			flush()
		}
		if len(line) > 0 {
			line = append(line, ' ')
		}
		for len(line)+len(runes) > width {
			n := width - len(line)
			line, runes = append(line, runes[:n]...), runes[n:]
			flush()
		}
		line = append(line, runes...)
	}
	if len(line) > 0 || len(lines) == 0 {
		flush()
	}
	return lines
}

// Package book writes tables for people who go on with them elsewhere: as sheets of a
// workbook (SpreadsheetML, ISO/IEC 29500), or as CSV (RFC 4180). It knows no rule of
// the work.
//
// A text is never taken for a formula: in a workbook it is a text cell, whatever it
// begins with; in CSV, where programs guess, a text that they would take for a formula
// gets an apostrophe in front. Numbers are numbers, with their unit in the head of the
// column. The same calls give the same bytes: nothing is asked of the clock.
package book

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// Column is a column of a table.
type Column struct {
	Head     string
	Decimals int     // of numbers that are no whole ones
	Chars    float64 // how wide it is in a workbook, in characters; 0: as wide as its head, 10 at least
}

// Table is rows under heads. A cell is a string, an int, an int64, a float64, or nil for
// nothing; rows may be shorter than there are columns.
type Table struct {
	Name    string // of the sheet, at most 31 characters
	Columns []Column
	Rows    [][]any
}

// maxName is the most characters of a sheet's name.
const maxName = 31

// sheetName makes a name that a workbook takes, and that none before it has.
func sheetName(name string, taken map[string]bool) string {
	name = strings.Trim(strings.Map(func(r rune) rune {
		if strings.ContainsRune(`[]:*?/\'`, r) || r < ' ' {
			return '-'
		}
		return r
	}, name), " ")
	if name == "" {
		name = "sheet"
	}
	short := []rune(name)
	short = short[:min(len(short), maxName)]
	name = string(short)
	for n := 2; taken[strings.ToLower(name)]; n++ {
		end := " " + strconv.Itoa(n)
		name = string(short[:min(len(short), maxName-len(end))]) + end
	}
	taken[strings.ToLower(name)] = true
	return name
}

// XLSX writes a workbook with a sheet for each table. Made is the date in the file.
func XLSX(w io.Writer, title string, made time.Time, tables []Table) (err error) {
	file := excelize.NewFile()
	defer func() {
		if closed := file.Close(); err == nil {
			err = closed
		}
	}()
	when := made.UTC().Format(time.RFC3339)
	if err := file.SetDocProps(&excelize.DocProperties{Title: title, Creator: "pulk", LastModifiedBy: "pulk", Created: when, Modified: when}); err != nil {
		return err
	}
	taken := map[string]bool{}
	for i, t := range tables {
		name := sheetName(t.Name, taken)
		if i == 0 {
			err = file.SetSheetName("Sheet1", name)
		} else {
			_, err = file.NewSheet(name)
		}
		if err == nil {
			err = sheet(file, name, t)
		}
		if err != nil {
			return fmt.Errorf("sheet %s: %w", name, err)
		}
	}
	var out bytes.Buffer
	if _, err := file.WriteTo(&out); err != nil {
		return err
	}
	return inOrder(w, out.Bytes())
}

// inOrder writes an archive with its parts in the order of their names: the library puts
// them in any. That of the types sorts first, where some readers look for it.
func inOrder(w io.Writer, archive []byte) error {
	in, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		return err
	}
	slices.SortFunc(in.File, func(a, b *zip.File) int { return strings.Compare(a.Name, b.Name) })
	out := zip.NewWriter(w)
	for _, part := range in.File {
		if err := out.Copy(part); err != nil {
			return err
		}
	}
	return out.Close()
}

func sheet(file *excelize.File, name string, t Table) error {
	landscape, a4, wide := "landscape", 9, 1
	if err := file.SetPageLayout(name, &excelize.PageLayoutOptions{Orientation: &landscape, Size: &a4, FitToWidth: &wide}); err != nil {
		return err
	}
	if err := file.SetDefinedName(&excelize.DefinedName{Name: "_xlnm.Print_Titles", RefersTo: "'" + name + "'!$1:$1", Scope: name}); err != nil {
		return err
	}
	out, err := file.NewStreamWriter(name)
	if err != nil {
		return err
	}
	if err := out.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	bold, err := file.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	if err != nil {
		return err
	}
	styles := make([]int, len(t.Columns))
	heads := make([]any, len(t.Columns))
	for i, c := range t.Columns {
		chars := c.Chars
		if chars == 0 {
			chars = float64(max(10, len([]rune(c.Head))+2))
		}
		if err := out.SetColWidth(i+1, i+1, chars); err != nil {
			return err
		}
		if c.Decimals > 0 {
			format := "0." + strings.Repeat("0", c.Decimals)
			if styles[i], err = file.NewStyle(&excelize.Style{CustomNumFmt: &format}); err != nil {
				return err
			}
		}
		heads[i] = excelize.Cell{StyleID: bold, Value: c.Head}
	}
	if err := out.SetRow("A1", heads); err != nil {
		return err
	}
	for n, row := range t.Rows {
		cells := make([]any, len(row))
		for i, value := range row {
			if err := known(value); err != nil {
				return err
			}
			if _, ok := value.(float64); ok && i < len(styles) {
				value = excelize.Cell{StyleID: styles[i], Value: value}
			}
			cells[i] = value
		}
		if err := out.SetRow(fmt.Sprintf("A%d", n+2), cells); err != nil {
			return err
		}
	}
	return out.Flush()
}

// known refuses a cell of another type.
func known(value any) error {
	switch value.(type) {
	case nil, string, int, int64, float64:
		return nil
	}
	return fmt.Errorf("a cell cannot be a %T", value)
}

// CSV writes one table. Lines end in a line feed alone, as in every table of this program.
func CSV(w io.Writer, t Table) error {
	out := csv.NewWriter(w)
	line := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		line[i] = c.Head
	}
	out.Write(line)
	for _, row := range t.Rows {
		for i := range line {
			line[i] = ""
			if i >= len(row) || row[i] == nil {
				continue
			}
			if err := known(row[i]); err != nil {
				return err
			}
			switch value := row[i].(type) {
			case string:
				line[i] = harmless(value)
			case float64:
				line[i] = strconv.FormatFloat(value, 'f', max(t.Columns[i].Decimals, 0), 64)
			default:
				line[i] = fmt.Sprint(value)
			}
		}
		out.Write(line)
	}
	out.Flush()
	return out.Error()
}

// harmless keeps a text from being taken for a formula by programs that guess.
func harmless(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return "'" + text
	}
	return text
}

package book

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"
)

var made = time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC)

func example() []Table {
	return []Table{
		{Name: "manifest M-27/1", Columns: []Column{{Head: "part number"}, {Head: "pieces"}, {Head: "mass kg", Decimals: 2}},
			Rows: [][]any{{"007", 3, 1.5}, {"=1+1", int64(4), 0.125}, {"-20..5"}, {nil, nil, 1e-7}, {"O-Ring 20 × 2,5 <mm> & \"x\"", 0, -2.0}, {"@x", -1, 3.0}}},
		{Name: "Manifest M-27/1", Columns: []Column{{Head: "nothing"}}},
	}
}

// readXLSX reads a workbook with what the standard says of it and nothing of the library
// that wrote it: ISO/IEC 29500-1, 18.3.1.4 (c), 18.18.11 (cell types).
func readXLSX(t *testing.T, file []byte) (names []string, sheets [][][]string) {
	t.Helper()
	archive, err := zip.NewReader(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	read := func(name string, into any) bool {
		f, err := archive.Open(name)
		if err != nil {
			return false
		}
		text, err := io.ReadAll(f)
		if err != nil {
			t.Fatal(err)
		}
		if err := xml.Unmarshal(text, into); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		return true
	}
	var workbook struct {
		Sheets []struct {
			Name string `xml:"name,attr"`
		} `xml:"sheets>sheet"`
	}
	if !read("xl/workbook.xml", &workbook) {
		t.Fatal("no workbook")
	}
	for i, s := range workbook.Sheets {
		names = append(names, s.Name)
		var sheet struct {
			Rows []struct {
				Cells []struct {
					Ref     string  `xml:"r,attr"`
					Type    string  `xml:"t,attr"`
					Value   string  `xml:"v"`
					Inline  string  `xml:"is>t"`
					Formula *string `xml:"f"`
				} `xml:"c"`
			} `xml:"sheetData>row"`
		}
		if !read(fmt.Sprintf("xl/worksheets/sheet%d.xml", i+1), &sheet) {
			t.Fatalf("no sheet %d", i+1)
		}
		var rows [][]string
		for n, r := range sheet.Rows {
			var row []string
			for _, c := range r.Cells {
				if c.Formula != nil {
					t.Errorf("%s of %s is a formula", c.Ref, s.Name)
				}
				if want := fmt.Sprint(n + 1); !strings.HasSuffix(c.Ref, want) {
					t.Errorf("cell %s in row %s", c.Ref, want)
				}
				switch c.Type {
				case "inlineStr":
					row = append(row, "text "+c.Inline)
				case "", "n":
					row = append(row, c.Value)
				default:
					t.Errorf("a cell of type %q", c.Type)
				}
			}
			rows = append(rows, row)
		}
		sheets = append(sheets, rows)
	}
	return names, sheets
}

// TestXLSX reads back what was written: texts are texts, numbers numbers, and nothing
// is a formula.
func TestXLSX(t *testing.T) {
	var file, again bytes.Buffer
	if err := XLSX(&file, "Papers", made, example()); err != nil {
		t.Fatal(err)
	}
	names, sheets := readXLSX(t, file.Bytes())
	if want := []string{"manifest M-27-1", "Manifest M-27-1 2"}; !slices.Equal(names, want) {
		t.Errorf("sheets %q, want %q", names, want)
	}
	want := [][]string{{"text part number", "text pieces", "text mass kg"}, {"text 007", "3", "1.5"}, {"text =1+1", "4", "0.125"}, {"text -20..5"}, {"0.0000001"},
		{`text O-Ring 20 × 2,5 <mm> & "x"`, "0", "-2"}, {"text @x", "-1", "3"}}
	if len(sheets) != 2 || len(sheets[0]) != len(want) {
		t.Fatalf("%d sheets, the first with %d rows", len(sheets), len(sheets[0]))
	}
	for i := range want {
		if !slices.Equal(sheets[0][i], want[i]) {
			t.Errorf("row %d: %q, want %q", i+1, sheets[0][i], want[i])
		}
	}
	if err := XLSX(&again, "Papers", made, example()); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(file.Bytes(), again.Bytes()) {
		t.Error("the same tables gave other bytes")
	}
}

// TestCSV reads back what was written, with the texts that would be formulas made
// harmless.
func TestCSV(t *testing.T) {
	var file bytes.Buffer
	if err := CSV(&file, example()[0]); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{{"part number", "pieces", "mass kg"}, {"007", "3", "1.50"}, {"'=1+1", "4", "0.12"}, {"'-20..5", "", ""}, {"", "", "0.00"}, {`O-Ring 20 × 2,5 <mm> & "x"`, "0", "-2.00"}, {"'@x", "-1", "3.00"}}
	for i := range want {
		if !slices.Equal(rows[i], want[i]) {
			t.Errorf("row %d: %q, want %q", i, rows[i], want[i])
		}
	}
}

func TestCellsOfAnotherType(t *testing.T) {
	bad := Table{Name: "x", Columns: []Column{{Head: "a"}}, Rows: [][]any{{true}}}
	if err := CSV(io.Discard, bad); err == nil {
		t.Error("CSV takes a bool")
	}
	if err := XLSX(io.Discard, "x", made, []Table{bad}); err == nil {
		t.Error("XLSX takes a bool")
	}
}

func TestSheetName(t *testing.T) {
	taken := map[string]bool{}
	for _, c := range []struct{ in, want string }{
		{"a/b", "a-b"}, {"A/B", "A-B 2"}, {"", "sheet"}, {"'x'", "-x-"},
		{strings.Repeat("ä", 40), strings.Repeat("ä", 31)}, {strings.Repeat("ä", 40), strings.Repeat("ä", 29) + " 2"},
	} {
		if got := sheetName(c.in, taken); got != c.want {
			t.Errorf("%q: %q, want %q", c.in, got, c.want)
		}
	}
}

// BenchmarkXLSX is a workbook of 2,000 lines beside the same as CSV.
func BenchmarkXLSX(b *testing.B) {
	t := Table{Name: "lines", Columns: []Column{{Head: "part number"}, {Head: "name", Chars: 40}, {Head: "pieces"}, {Head: "kg", Decimals: 2}}}
	for i := range 2000 {
		t.Rows = append(t.Rows, []any{fmt.Sprintf("CON-%03d", i), "O-ring 20 x 2.5 mm for connector", i, float64(i) / 7})
	}
	for name, write := range map[string]func(io.Writer) error{"xlsx": func(w io.Writer) error { return XLSX(w, "x", made, []Table{t}) }, "csv": func(w io.Writer) error { return CSV(w, t) }} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				var out bytes.Buffer
				if err := write(&out); err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(out.Len()), "bytes")
			}
		})
	}
}

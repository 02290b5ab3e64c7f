package main

import (
	"strings"
	"testing"
	"unicode/utf8"

	"pulk/inventory/dangerous"
)

// TestCautionStandsFirst: in a workbook the caution is the first that is read of dangerous
// goods, whole, and nothing runs out of its column.
func TestCautionStandsFirst(t *testing.T) {
	ion, _ := dangerous.Suggest("3480")
	petrol, _ := dangerous.Suggest("1203")
	sum := dangerous.Sum([]dangerous.Piece{{Goods: ion, PartNumber: "BAT-002", Quantity: 1, Package: "CR-1"}, {Goods: petrol, PartNumber: "FUE-003", Quantity: 1, Package: "CR-1"}})
	p := papers{goods: sum}
	tables, err := p.tables()
	if err != nil {
		t.Fatal(err)
	}
	sheets := p.sheets(tables)
	at := -1
	for i, s := range sheets {
		if s.Name == "dangerous goods" {
			at = i
		}
	}
	if at < 1 || len(sheets) != len(tables)+1 || sheets[at-1].Name != dangerousWords(sum).Name {
		t.Fatalf("%d sheets, dangerous goods is number %d", len(sheets), at)
	}
	said := map[string]string{}
	what := ""
	for i, row := range sheets[at-1].Rows {
		if name, ok := row[0].(string); ok {
			what = name
		}
		line := row[1].(string)
		if utf8.RuneCountInString(line) > wordsChars || i == 0 && what != "caution" {
			t.Errorf("row %d, %s: %q", i, what, line)
		}
		said[what] = strings.TrimSpace(said[what] + " " + line)
	}
	if said["caution"] != dangerous.Caution || !strings.Contains(said["tables say"], "By air lithium batteries") || !strings.Contains(said["not described"], "BAT-002, UN 3480: net quantity") {
		t.Errorf("%q", said)
	}
}

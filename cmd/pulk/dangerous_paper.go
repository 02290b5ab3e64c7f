package main

import (
	"fmt"
	"strings"

	"pulk/cmd/book"
	"pulk/cmd/paper"
	"pulk/inventory/dangerous"
)

// dangerousRow is a line of a summary of dangerous goods, of --json.
type dangerousRow struct {
	UNNumber       string   `json:"un_number"`
	Name           string   `json:"proper_shipping_name"`
	Class          string   `json:"class"`
	Subsidiary     []string `json:"subsidiary_hazards"`
	PackingGroup   string   `json:"packing_group"`
	State          string   `json:"state"`
	NetGrams       int64    `json:"net_grams"`
	NetMillilitres int64    `json:"net_millilitres"`
	Undescribed    []string `json:"net_quantity_unknown"` // part numbers that are not in the net quantity
	Packages       []string `json:"packages"`             // codes of crates or places
	Parts          []string `json:"part_numbers"`
}

// dangerousJSON is a summary of dangerous goods. What it says is advice.
type dangerousJSON struct {
	Caution string         `json:"caution"`
	Lines   []dangerousRow `json:"lines"`
	Advice  []string       `json:"segregation_advice"` // what published tables say of goods that lie together
	Notes   []string       `json:"air_notes"`
	Missing []string       `json:"not_described"`
	Doubts  []string       `json:"doubts"` // what differs from the list of UN numbers
}

func dangerousJSONOf(s dangerous.Summary) dangerousJSON {
	out := dangerousJSON{Caution: dangerous.Caution, Lines: []dangerousRow{}, Advice: []string{}, Notes: append([]string{}, s.Notes...),
		Missing: append([]string{}, s.Missing...), Doubts: append([]string{}, s.Doubts...)}
	for _, l := range s.Lines {
		out.Lines = append(out.Lines, dangerousRow{l.Goods.UNNumber, l.Goods.Name, l.Goods.Class, append([]string{}, l.Goods.Subsidiary...), l.Goods.PackingGroup, string(l.Goods.State),
			l.NetGrams, l.NetMillilitres, append([]string{}, l.Undescribed...), append([]string{}, l.Packages...), append([]string{}, l.Parts...)})
	}
	for _, p := range s.Pairs {
		out.Advice = append(out.Advice, p.Words())
	}
	return out
}

// netText is a net quantity in words, and that it is not all of it.
func netText(l dangerous.Line) string {
	text := dangerous.Quantity(l.NetGrams, l.NetMillilitres)
	switch {
	case len(l.Undescribed) == 0:
		return text
	case text == "":
		return "not told"
	}
	return "over " + text
}

// dangerousTable is the summary for a workbook or CSV.
func dangerousTable(s dangerous.Summary) book.Table {
	t := book.Table{Name: "dangerous goods", Columns: []book.Column{{Head: "UN number"}, {Head: "proper shipping name", Chars: 44}, {Head: "class"}, {Head: "subsidiary hazards"}, {Head: "packing group"},
		{Head: "state"}, {Head: "net kg", Decimals: 3}, {Head: "net L", Decimals: 3}, {Head: "net quantity not told of", Chars: 24}, {Head: "crates or places"}, {Head: "in", Chars: 24}, {Head: "part numbers", Chars: 24}}}
	for _, l := range s.Lines {
		g := l.Goods
		t.Rows = append(t.Rows, []any{g.UNNumber, g.Name, g.Class, strings.Join(g.Subsidiary, ", "), g.PackingGroup, string(g.State), thousandth(l.NetGrams), thousandth(l.NetMillilitres),
			strings.Join(l.Undescribed, ", "), len(l.Packages), strings.Join(l.Packages, ", "), strings.Join(l.Parts, ", ")})
	}
	return t
}

// thousandth is a net quantity in kg or L; nothing where none is told.
func thousandth(n int64) any {
	if n == 0 {
		return nil
	}
	return float64(n) / 1000
}

// printDangerous lays the summary out on pages, the caution first.
func printDangerous(d *paper.Doc, s dangerous.Summary) {
	d.Heading(2, "Dangerous goods")
	d.Caution("Caution", dangerous.Caution)
	if len(s.Lines) == 0 {
		d.Text(paper.Style{}, "None are on record in this load. That the record says so is no proof: look at every safety data sheet, section 14.")
		return
	}
	t := paper.Table{SizePoints: 8, Columns: []paper.Column{{Head: "UN", Share: 0.6}, {Head: "proper shipping name", Share: 3}, {Head: "class", Share: 0.9}, {Head: "PG", Share: 0.5}, {Head: "crates or places", Share: 0.9, Align: paper.Right},
		{Head: "net quantity", Share: 1.3, Align: paper.Right}, {Head: "in", Share: 2}}}
	for _, l := range s.Lines {
		t.Rows = append(t.Rows, []string{l.Goods.UNNumber, l.Goods.Name, l.Goods.ClassText(), l.Goods.PackingGroup, fmt.Sprint(len(l.Packages)), netText(l), strings.Join(l.Packages, ", ")})
	}
	d.Table(t)
	advice := dangerousJSONOf(s)
	for _, part := range []struct {
		head string
		list []string
	}{{"What published tables say of goods that go together", advice.Advice}, {"By air", advice.Notes}, {"Not described", advice.Missing}, {"In doubt", advice.Doubts}} {
		if len(part.list) == 0 {
			continue
		}
		d.Heading(3, part.head)
		for _, text := range part.list {
			d.Item(5, "–", paper.Style{SizePoints: 9}, text)
		}
	}
	d.Gap(4)
	d.Keep(func() {
		d.Sign(0, paper.Signature{For: "Looked over by (trained and certified shipper); this is no declaration"})
	})
}

// printDangerousText tells the summary on a screen, the caution first.
func (c *call) printDangerousText(s dangerous.Summary) {
	c.printBlock("caution: ", dangerous.Caution)
	c.printf("\n")
	t := newTable("UN", "proper shipping name", "class", "PG", "net quantity", "in", "part numbers")
	for _, l := range s.Lines {
		t.add(l.Goods.UNNumber, l.Goods.Name, l.Goods.ClassText(), l.Goods.PackingGroup, netText(l), strings.Join(l.Packages, ", "), strings.Join(l.Parts, ", "))
	}
	t.print(c.env, "No dangerous goods are on record there. Look at every safety data sheet, section 14.")
	advice := dangerousJSONOf(s)
	for _, part := range []struct {
		head string
		list []string
	}{{"What published tables say of goods that lie together:", advice.Advice}, {"By air:", advice.Notes}, {"Not described, see pulk item hazard:", advice.Missing}, {"In doubt:", advice.Doubts}} {
		if len(part.list) > 0 {
			c.printf("\n%s\n", part.head)
		}
		for _, text := range part.list {
			c.printBlock("  - ", text)
		}
	}
}

package dangerous

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Piece is so many units of issue of goods in a package.
type Piece struct {
	Goods      Goods
	PartNumber string
	Quantity   int64
	Package    string // code of the crate that it is in
}

// Told reports whether the piece is dangerous goods, or may be: sites that tell its UN
// number differently do not agree that it is none.
func (p Piece) Told() bool { return p.Goods.UNNumber != "" || len(p.Goods.Contested) > 0 }

// Line is goods that are alike by the rules of transport, wherever they are.
type Line struct {
	Goods          Goods // of one; its net quantity is that of the line below
	NetGrams       int64
	NetMillilitres int64
	Undescribed    []string // part numbers whose net quantity is not told, so that more is there
	Packages       []string // in order
	Parts          []string // in order
}

// Pair is two lines that lie in one package or one load, with what tables say of them.
type Pair struct {
	A, B     Line
	Packages []string // that hold both; empty where only the load does
	Highway  Advice
	Air      bool // the air rules ask to keep them apart
}

// Summary is all dangerous goods of a load.
type Summary struct {
	Lines   []Line
	Pairs   []Pair   // that some table says something about
	Missing []string // what is not told of which part, in words
	Doubts  []string // what differs from the list of UN numbers, in words
	Notes   []string // of the air rules, about goods by themselves
}

// Sum sums pieces up by UN number, class, packing group and name.
func Sum(pieces []Piece) Summary {
	var out Summary
	lines := map[string]*Line{}
	told := map[string]bool{}
	for _, p := range pieces {
		if !p.Told() {
			continue
		}
		key := strings.Join([]string{p.Goods.UNNumber, p.Goods.Name, p.Goods.ClassText(), p.Goods.PackingGroup, string(p.Goods.State), p.Goods.Zone}, "\x00")
		l := lines[key]
		if l == nil {
			l = &Line{Goods: p.Goods}
			lines[key] = l
		}
		l.NetGrams += p.Goods.NetGrams * p.Quantity
		l.NetMillilitres += p.Goods.NetMillilitres * p.Quantity
		l.Goods.WattHours = max(l.Goods.WattHours, p.Goods.WattHours)
		l.Packages, l.Parts = add(l.Packages, p.Package), add(l.Parts, p.PartNumber)
		if p.Goods.NetGrams == 0 && p.Goods.NetMillilitres == 0 {
			l.Undescribed = add(l.Undescribed, p.PartNumber)
		}
		if told[p.PartNumber] {
			continue
		}
		told[p.PartNumber] = true
		if missing := p.Goods.Missing(); len(missing) > 0 {
			out.Missing = append(out.Missing, fmt.Sprintf("%s, %s: %s", p.PartNumber, p.Goods.UN(), strings.Join(missing, ", ")))
		}
		for _, doubt := range p.Goods.Doubts() {
			out.Doubts = append(out.Doubts, p.PartNumber+": "+doubt)
		}
	}
	for _, l := range lines {
		out.Lines = append(out.Lines, *l)
	}
	slices.SortFunc(out.Lines, func(a, b Line) int {
		return cmp.Or(cmp.Compare(a.Goods.UNNumber, b.Goods.UNNumber), cmp.Compare(a.Goods.ClassText(), b.Goods.ClassText()), cmp.Compare(a.Goods.PackingGroup, b.Goods.PackingGroup),
			cmp.Compare(a.Goods.Name, b.Goods.Name), cmp.Compare(a.Goods.State, b.Goods.State), cmp.Compare(a.Goods.Zone, b.Goods.Zone))
	})
	slices.Sort(out.Missing)
	slices.Sort(out.Doubts)
	out.compare()
	return out
}

// compare holds every two lines against the tables.
func (s *Summary) compare() {
	for i, a := range s.Lines {
		for _, note := range a.Goods.AirNotes() {
			s.Notes = append(s.Notes, "UN "+a.Goods.UNNumber+" by air: "+note)
		}
		for _, b := range s.Lines[i+1:] {
			p := Pair{A: a, B: b, Highway: Segregate(a.Goods, b.Goods), Air: AirSegregate(a.Goods, b.Goods)}
			if p.Highway.Mark == Free && len(p.Highway.Why) == 0 && !p.Air {
				continue
			}
			for _, code := range a.Packages {
				if slices.Contains(b.Packages, code) {
					p.Packages = append(p.Packages, code)
				}
			}
			s.Pairs = append(s.Pairs, p)
		}
	}
	slices.Sort(s.Notes)
	s.Notes = slices.Compact(s.Notes)
}

// Words says what the tables say of a pair.
func (p Pair) Words() string {
	text := fmt.Sprintf("%s (%s) and %s (%s)", p.A.Goods.UN(), p.A.Goods.ClassText(), p.B.Goods.UN(), p.B.Goods.ClassText())
	if len(p.Packages) > 0 {
		text += ", both in " + strings.Join(p.Packages, ", ")
	}
	var said []string
	if len(p.Highway.Why) > 0 {
		said = append(said, HighwaySource+": "+strings.Join(p.Highway.Why, "; "))
	}
	if p.Air {
		said = append(said, "By air lithium batteries by themselves are kept from these: "+AirSource)
	}
	return text + ". " + strings.Join(said, ". ")
}

func add(list []string, text string) []string {
	if text == "" || slices.Contains(list, text) {
		return list
	}
	at, _ := slices.BinarySearch(list, text)
	return slices.Insert(list, at, text)
}

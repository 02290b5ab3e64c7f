package stock

import (
	"os"
	"strings"
	"testing"

	"pulk/inventory/grid"
)

const heading = "part_number,name,group,unit_of_issue,serialised,mass_grams,length_mm,width_mm,height_mm,shelf_life_days,un_number,price_cents,prior_mtbf_hours\n"

func TestParseCatalogueOfRealSize(t *testing.T) {
	source, err := os.ReadFile("../../testdata/catalogue.csv")
	if err != nil {
		t.Fatal(err)
	}
	items, faults := ParseCatalogue(source)
	if len(faults) > 0 {
		t.Fatalf("faults: %v", faults)
	}
	if lines := strings.Count(string(source), "\n"); len(items) != lines-1 {
		t.Errorf("%d items from %d lines", len(items), lines)
	}
	first := items[0]
	if first.PartNumber != "SM3-001" || first.MassGrams != 14200 || first.UNNumber != "3091" || !first.Serialised || first.PriorMTBFHours != 350000 {
		t.Errorf("first item read as %+v", first)
	}
}

func TestParseCatalogueNamesEveryBadCell(t *testing.T) {
	good := "CON-1,O-ring,seal,each,no,12,20,20,3,,,100,\n"
	for _, c := range []struct {
		name, source string
		want         []string
	}{
		{"empty", "", []string{"1:0: the file is empty"}},
		{"heading", "part_number,nam\n", []string{`1:2: the column is called "nam"`, "1:3: the column is missing"}},
		{"cells", heading + good + "X,,g,eech,maybe,-1,1.5,x,,,12345,1e3,\n", []string{
			"3:2: name is \"\"", "3:4: unit_of_issue", "3:5: serialised", "3:6: mass_grams is \"-1\"", "3:7: length_mm", "3:8: width_mm", "3:11: un_number", "3:12: price_cents"}},
		{"double", heading + good + good, []string{`3:1: part number "CON-1" stands in line 2 already`}},
		{"count", heading + "a,b\n", []string{"2:2: the line has 2 cells"}},
		{"spaces", heading + strings.Replace(good, "O-ring", " O-ring", 1), []string{"2:2: name"}},
		{"quotes", heading + "\"a,b\n", []string{"extraneous or missing"}},
		{"latin1", heading + "CON-1,\xe4,seal,each,no,,,,,,,,\n", []string{"2:0: not UTF-8"}},
		{"multi_line_cell", heading + "\"a\nb\",n,g,each,no,,,,,,,,\nZ,n,g,each,no,x,,,,,,,\n", []string{"2:1: part_number", "4:6: mass_grams"}},
	} {
		items, faults := ParseCatalogue([]byte(c.source))
		if items != nil || len(faults) == 0 {
			t.Errorf("%s: %d items, %d faults; want faults alone", c.name, len(items), len(faults))
		}
		for i, want := range c.want {
			if i >= len(faults) || !strings.Contains(faults[i].String(), want) {
				t.Errorf("%s: fault %d is %v; want %q", c.name, i, faults, want)
			}
		}
	}
}

func TestFormulasAreData(t *testing.T) {
	items, faults := ParseCatalogue([]byte(heading + "=1+1,@sum,seal,each,no,,,,,,,,\n010,-x,seal,each,no,,,,,,,,\n"))
	if len(faults) > 0 || items[0].PartNumber != "=1+1" || items[1].PartNumber != "010" {
		t.Errorf("items %+v, faults %v", items, faults)
	}
}

func FuzzCatalogue(f *testing.F) {
	f.Add([]byte(heading + "CON-1,O-ring,seal,each,no,12,20,20,3,,,100,\n"))
	f.Add([]byte(heading + "\"a\"\"b\",n,g,m,yes,,,,,,1219,,\n"))
	f.Add([]byte("\xef\xbb\xbf" + heading))
	f.Fuzz(func(t *testing.T, source []byte) {
		items, faults := ParseCatalogue(source)
		if len(faults) > grid.FaultsMax {
			t.Fatalf("%d faults", len(faults))
		}
		if len(faults) > 0 && items != nil {
			t.Fatal("both items and faults")
		}
		seen := map[string]bool{}
		for _, it := range items {
			if it.PartNumber == "" || seen[it.PartNumber] || it.MassGrams < 0 || it.PriceCents > maxNumber {
				t.Fatalf("took item %+v", it)
			}
			seen[it.PartNumber] = true
		}
	})
}

package testdata

import (
	"encoding/csv"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

var catalogueColumns = []string{
	"part_number", "name", "group", "unit_of_issue", "serialised", "mass_grams",
	"length_mm", "width_mm", "height_mm", "shelf_life_days", "un_number",
	"price_cents", "prior_mtbf_hours",
}

// unFromMemory are the UN numbers of the catalogue that checks/ does not
// hold, with their entry in the UN Model Regulations, chapter 3.2, from
// memory. README.md tells readers to check them against the edition in force.
var unFromMemory = map[string]string{
	"1133": "adhesives containing flammable liquid",
	"1170": "ethanol or ethanol solution",
	"1944": "matches, safety",
	"1950": "aerosols",
	"2037": "receptacles, small, containing gas (gas cartridges)",
	"2735": "amines, liquid, corrosive, n.o.s.",
	"2800": "batteries, wet, non-spillable",
	"3090": "lithium metal batteries",
	"3175": "solids containing flammable liquid, n.o.s.",
	"3480": "lithium ion batteries",
}

func TestCatalogueHasAboutFourHundredSoundRows(t *testing.T) {
	rows := readRows(t, "catalogue.csv", catalogueColumns)
	if n := len(rows); n < 390 || n > 430 {
		t.Errorf("catalogue.csv: %d items, want 390 to 430", n)
	}
	seenPart, seenName := map[string]bool{}, map[string]bool{}
	for i, row := range rows {
		line := i + 2
		if seenPart[row["part_number"]] || seenName[row["name"]] {
			t.Errorf("catalogue.csv:%d: %s %q is there twice", line, row["part_number"], row["name"])
		}
		seenPart[row["part_number"]], seenName[row["name"]] = true, true
		checkCatalogueRow(t, line, row)
	}
}

func checkCatalogueRow(t *testing.T, line int, row map[string]string) {
	t.Helper()
	for column, pattern := range cataloguePatterns {
		if !pattern.MatchString(row[column]) {
			t.Errorf("catalogue.csv:%d: %s = %q, want it to match %s", line, column, row[column], pattern)
		}
	}
	if row["serialised"] == "yes" && row["unit_of_issue"] != "each" && row["unit_of_issue"] != "set" {
		t.Errorf("catalogue.csv:%d: serialised, but issued by the %s", line, row["unit_of_issue"])
	}
}

var catalogueUnits = []string{"each", "m", "g", "kg", "mL", "L", "pack", "set", "pair", "roll"}

var catalogueGroups = []string{
	"cable", "cable protection", "camp", "chemical", "communication", "connector", "drill",
	"electronics", "fastener", "fuel", "gas", "hot water and hydraulic", "medical",
	"packaging", "power", "protective equipment", "sensor module", "string", "tool", "winch",
}

var catalogueParts = []string{
	"SM3", "STR", "CAB", "CON", "TOL", "CHM", "ELC", "PPE", "HYD",
	"FST", "PWR", "COM", "DRL", "WIN", "CMP", "PKG", "MED",
}

var (
	positive        = regexp.MustCompile(`^[1-9][0-9]*$`)
	positiveOrEmpty = regexp.MustCompile(`^([1-9][0-9]*)?$`)
)

var cataloguePatterns = map[string]*regexp.Regexp{
	"part_number":      regexp.MustCompile(`^(` + strings.Join(catalogueParts, "|") + `)-[0-9]{3}$`),
	"name":             regexp.MustCompile(`^[A-Z0-9][^,"]{3,79}$`),
	"group":            regexp.MustCompile(`^(` + strings.Join(catalogueGroups, "|") + `)$`),
	"unit_of_issue":    regexp.MustCompile(`^(` + strings.Join(catalogueUnits, "|") + `)$`),
	"serialised":       regexp.MustCompile(`^(yes|no)$`),
	"mass_grams":       positive,
	"length_mm":        positive,
	"width_mm":         positive,
	"height_mm":        positive,
	"shelf_life_days":  positiveOrEmpty,
	"un_number":        regexp.MustCompile(`^([0-9]{4})?$`),
	"price_cents":      positive,
	"prior_mtbf_hours": positiveOrEmpty,
}

// A mass that lost or gained three zeros shows as a density nothing has:
// lighter than loose foam or heavier than solid lead-filled steel.
func TestCatalogueDensitiesArePossible(t *testing.T) {
	const gramsPerCubicMillimetreMin, gramsPerCubicMillimetreMax = 5e-6, 9e-3
	for _, row := range readRows(t, "catalogue.csv", catalogueColumns) {
		volume := number(t, row["length_mm"]) * number(t, row["width_mm"]) * number(t, row["height_mm"])
		density := number(t, row["mass_grams"]) / volume
		if density < gramsPerCubicMillimetreMin || density > gramsPerCubicMillimetreMax {
			t.Errorf("%s %s: %.4g g/mm3 is not a density a packed item has", row["part_number"], row["name"], density)
		}
	}
}

func TestCatalogueNamesOnlyKnownUNNumbers(t *testing.T) {
	known := unNumbersInChecks(t)
	used := 0
	for _, row := range readRows(t, "catalogue.csv", catalogueColumns) {
		un := row["un_number"]
		if un == "" {
			continue
		}
		used++
		if !slices.Contains(known, un) && unFromMemory[un] == "" {
			t.Errorf("%s: UN %s is neither in checks/cargo_dangerous_goods.csv nor in the list from memory", row["part_number"], un)
		}
	}
	if used < 40 {
		t.Errorf("only %d items carry a UN number, want a real campaign's 40 or more", used)
	}
}

// unNumbersInChecks returns the numbers of the un_entry rows of
// checks/cargo_dangerous_goods.csv (UN Model Regulations, 23rd revised
// edition; the file says of each row how it was obtained).
func unNumbersInChecks(t *testing.T) []string {
	t.Helper()
	var numbers []string
	columns := []string{"id", "quantity", "inputs", "expected", "unit", "tolerance", "source", "how_obtained"}
	for _, row := range readRows(t, "checks/cargo_dangerous_goods.csv", columns) {
		if row["quantity"] == "un_entry" {
			numbers = append(numbers, strings.TrimPrefix(row["inputs"], "un_number="))
		}
	}
	return numbers
}

// readRows reads the CSV file name, whose header must be exactly columns, and
// returns one map from column to cell per row.
func readRows(t *testing.T, name string, columns []string) []map[string]string {
	t.Helper()
	file, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	records, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if len(records) == 0 || !slices.Equal(records[0], columns) {
		t.Fatalf("%s: header is not %v", name, columns)
	}
	var rows []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, column := range columns {
			row[column] = record[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	n, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

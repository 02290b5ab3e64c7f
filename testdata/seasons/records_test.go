package seasons_test

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"pulk/checklist/procedure"
	"pulk/testdata/seasons"
)

// These tests read the files as any program would and share nothing with the
// code that made them but the last test, which makes them again.

func TestEveryCodeNamedExists(t *testing.T) {
	places := column(t, "locations.csv", "code")
	parts := column(t, "../catalogue.csv", "part_number")
	serials := column(t, "units.csv", "serial")
	runs := column(t, "runs.csv", "run")
	for _, c := range []struct {
		file, column string
		known        []string
		emptyAllowed bool
	}{
		{"locations.csv", "parent", places, true},
		{"units.csv", "part_number", parts, false},
		{"lots.csv", "part_number", parts, false},
		{"movements.csv", "part_number", parts, false},
		{"movements.csv", "from", places, true},
		{"movements.csv", "to", places, true},
		{"movements.csv", "run", runs, true},
		{"unit_events.csv", "serial", serials, false},
		{"unit_events.csv", "place", places, false},
		{"runs.csv", "target_serial", serials, false},
	} {
		for i, code := range column(t, c.file, c.column) {
			if !slices.Contains(c.known, code) && (code != "" || !c.emptyAllowed) {
				t.Errorf("%s:%d: %s %q is not known", c.file, i+2, c.column, code)
			}
		}
	}
}

func TestNothingIsThereTwice(t *testing.T) {
	for file, key := range map[string]string{
		"locations.csv": "code", "units.csv": "serial", "lots.csv": "lot", "runs.csv": "run", "planned_runs.csv": "procedure",
	} {
		seen := map[string]bool{}
		for i, code := range column(t, file, key) {
			if seen[code] || code == "" {
				t.Errorf("%s:%d: %s %q is empty or there twice", file, i+2, key, code)
			}
			seen[code] = true
		}
	}
}

func TestRowsAreInOrderOfTime(t *testing.T) {
	for file, key := range map[string]string{"movements.csv": "at", "unit_events.csv": "at", "runs.csv": "started_at"} {
		var last time.Time
		for i, stamp := range column(t, file, key) {
			at := parseTime(t, stamp)
			if at.Before(last) {
				t.Errorf("%s:%d: %s is before the row above it", file, i+2, stamp)
			}
			last = at
		}
	}
}

func TestBalancesNeverFallBelowZero(t *testing.T) {
	balance := map[[3]string]int{}
	for i, m := range rows(t, "movements.csv") {
		quantity, err := strconv.Atoi(m["quantity"])
		if err != nil || quantity < 1 {
			t.Errorf("movements.csv:%d: quantity %q, want a whole number above 0", i+2, m["quantity"])
		}
		if m["from"] != "" {
			balance[[3]string{m["part_number"], m["lot"], m["from"]}] -= quantity
			if n := balance[[3]string{m["part_number"], m["lot"], m["from"]}]; n < 0 {
				t.Errorf("movements.csv:%d: leaves %d in %s", i+2, n, m["from"])
			}
		}
		if m["to"] != "" {
			balance[[3]string{m["part_number"], m["lot"], m["to"]}] += quantity
		}
		checkReason(t, i+2, m)
	}
}

// checkReason: each reason has its own ends.
func checkReason(t *testing.T, line int, m map[string]string) {
	t.Helper()
	from, to := m["from"] != "", m["to"] != ""
	right := map[string]bool{
		"receive": !from && to,
		"move":    from && to && m["from"] != m["to"],
		"issue":   from && !to,
		"scrap":   from && !to,
		"count":   from != to,
	}[m["reason"]]
	if !right || m["run"] != "" && m["reason"] != "issue" {
		t.Errorf("movements.csv:%d: %s from %q to %q for run %q makes no sense", line, m["reason"], m["from"], m["to"], m["run"])
	}
}

func TestLotsAreOnExactlyTheItemsThatExpire(t *testing.T) {
	shelfLife, serialised := map[string]bool{}, map[string]bool{}
	for _, item := range rows(t, "../catalogue.csv") {
		shelfLife[item["part_number"]] = item["shelf_life_days"] != ""
		serialised[item["part_number"]] = item["serialised"] == "yes"
	}
	lots := map[[2]string]string{}
	for _, lot := range rows(t, "lots.csv") {
		lots[[2]string{lot["part_number"], lot["lot"]}] = lot["expires_on"]
	}
	for i, m := range rows(t, "movements.csv") {
		if serialised[m["part_number"]] {
			t.Errorf("movements.csv:%d: %s has serials and is told in unit_events.csv", i+2, m["part_number"])
		}
		expires := lots[[2]string{m["part_number"], m["lot"]}]
		if shelfLife[m["part_number"]] != (expires != "") {
			t.Errorf("movements.csv:%d: %s lot %q expires %q", i+2, m["part_number"], m["lot"], expires)
		}
		if m["reason"] == "receive" && expires != "" && expires <= m["at"][:10] {
			t.Errorf("movements.csv:%d: received after it expired on %s", i+2, expires)
		}
		if m["reason"] == "scrap" && expires > m["at"][:10] {
			t.Errorf("movements.csv:%d: thrown away before it expires on %s", i+2, expires)
		}
	}
	for _, unit := range rows(t, "units.csv") {
		if !serialised[unit["part_number"]] {
			t.Errorf("units.csv: %s is of item %s, which has no serials", unit["serial"], unit["part_number"])
		}
	}
}

// TestRunsUseWhatTheProcedureSays holds the issues of every finished run
// against the parts list of its procedure, units with serials left out.
func TestRunsUseWhatTheProcedureSays(t *testing.T) {
	serialised := map[string]bool{}
	for _, item := range rows(t, "../catalogue.csv") {
		serialised[item["part_number"]] = item["serialised"] == "yes"
	}
	used := map[[2]string]int{}
	for _, m := range rows(t, "movements.csv") {
		if m["run"] != "" {
			quantity, _ := strconv.Atoi(m["quantity"])
			used[[2]string{m["run"], m["part_number"]}] += quantity
		}
	}
	parts := map[[2]string]bool{}
	for _, run := range rows(t, "runs.csv") {
		for _, use := range readProcedure(t, run["procedure"]).Parts {
			key := [2]string{run["run"], use.Part}
			parts[key] = true
			if want := int(use.Quantity); !serialised[use.Part] && used[key] != want {
				t.Errorf("run %s (%s) used %d of %s, its procedure says %d", run["run"], run["procedure"], used[key], use.Part, want)
			}
		}
	}
	for key, n := range used {
		if !parts[key] {
			t.Errorf("run %s used %d of %s, which its procedure does not name", key[0], n, key[1])
		}
	}
}

func readProcedure(t *testing.T, id string) *procedure.Procedure {
	t.Helper()
	name := filepath.Join("..", "procedures", id+".yaml")
	src, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	p, problems := procedure.Parse(name, src)
	if procedure.HasErrors(problems) {
		t.Fatalf("%s: %v", name, problems)
	}
	return p
}

func TestRunsAreSound(t *testing.T) {
	people := []string{"ida", "tomas", "mirre", "oskar", "lena", "piet"}
	made := map[string]string{}
	for _, e := range rows(t, "unit_events.csv") {
		if made[e["serial"]] == "" {
			made[e["serial"]] = e["at"]
		}
	}
	unfinished := 0
	for _, run := range rows(t, "runs.csv") {
		if !slices.Contains(people, run["person"]) {
			t.Errorf("run %s: nobody is called %q", run["run"], run["person"])
		}
		if run["started_at"] < made[run["target_serial"]] {
			t.Errorf("run %s starts before %s was received", run["run"], run["target_serial"])
		}
		if run["finished_at"] == "" {
			unfinished++
		} else if run["finished_at"] <= run["started_at"] {
			t.Errorf("run %s ends before it starts", run["run"])
		}
	}
	if n := len(rows(t, "runs.csv")); unfinished > n/10 {
		t.Errorf("%d of %d runs are unfinished", unfinished, n)
	}
}

func TestEveryModuleLoweredWasAcceptedFirst(t *testing.T) {
	accepted := map[string]string{}
	for _, run := range rows(t, "runs.csv") {
		if run["procedure"] == "module-acceptance" && run["finished_at"] != "" {
			accepted[run["target_serial"]] = run["finished_at"]
		}
	}
	lowered := 0
	for _, e := range rows(t, "unit_events.csv") {
		if e["event"] != "install" || e["serial"][:4] != "SM3-" {
			continue
		}
		lowered++
		if done := accepted[e["serial"]]; done == "" || done >= e["at"] {
			t.Errorf("%s is installed at %s, accepted %q", e["serial"], e["at"], done)
		}
	}
	if lowered < 24 {
		t.Errorf("only %d modules are on strings", lowered)
	}
}

// The files hold what Generate makes of today's catalogue; if not, run
// go run ./testdata/seasons/generate.
func TestFilesAreWhatTheGeneratorMakes(t *testing.T) {
	catalogue, err := os.ReadFile("../catalogue.csv")
	if err != nil {
		t.Fatal(err)
	}
	files, err := seasons.Generate(catalogue)
	if err != nil {
		t.Fatal(err)
	}
	onDisk, err := filepath.Glob("*.csv")
	if err != nil {
		t.Fatal(err)
	}
	if len(onDisk) != len(files) {
		t.Errorf("%d CSV files here, the generator makes %d", len(onDisk), len(files))
	}
	for name, want := range files {
		got, err := os.ReadFile(name)
		if err != nil {
			t.Error(err)
		} else if !bytes.Equal(got, want) {
			t.Errorf("%s is not what the generator makes: run go run ./testdata/seasons/generate and look at the difference", name)
		}
	}
}

func rows(t *testing.T, file string) []map[string]string {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	records, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil || len(records) < 2 {
		t.Fatalf("%s: %d rows, %v", file, len(records), err)
	}
	var found []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, name := range records[0] {
			row[name] = record[i]
		}
		found = append(found, row)
	}
	return found
}

func column(t *testing.T, file, name string) []string {
	t.Helper()
	var cells []string
	for _, row := range rows(t, file) {
		cell, ok := row[name]
		if !ok {
			t.Fatalf("%s has no column %s", file, name)
		}
		cells = append(cells, cell)
	}
	return cells
}

func parseTime(t *testing.T, stamp string) time.Time {
	t.Helper()
	at, err := time.Parse("2006-01-02T15:04:05Z", stamp)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

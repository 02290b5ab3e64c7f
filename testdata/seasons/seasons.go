// Package seasons invents two seasons of records of the campaign Vindur Deep,
// 2025-26 and 2026-27, from the catalogue and one fixed seed. The same
// catalogue gives the same bytes on every machine and on every day.
//
// [Generate] is the whole of it; the files beside this one are its result.
package seasons

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"time"
)

// seed fixes every choice the generator makes. It was picked among eight so
// that the failures spread over many kinds of item, as they do in the field.
const seed = 2533

// season is one summer's calendar. Days are UTC midnights.
type season struct {
	label                  string
	buying, accepting      time.Time
	loading, unloading     time.Time
	drilling, drillingEnds time.Time
	closing                time.Time // the last people leave; wintering begins
}

var (
	records  = struct{ from, until time.Time }{day(2025, 7, 1), day(2027, 2, 15)}
	calendar = []season{summer("25", 2025), summer("26", 2026)}
)

func summer(label string, year int) season {
	return season{
		label:        label,
		buying:       day(year, 7, 7),
		accepting:    day(year, 8, 4),
		loading:      day(year, 10, 5),
		unloading:    day(year, 11, 18),
		drilling:     day(year, 11, 28),
		drillingEnds: day(year+1, 1, 29),
		closing:      day(year+1, 2, 5),
	}
}

func day(year int, month time.Month, dayOfMonth int) time.Time {
	return time.Date(year, month, dayOfMonth, 0, 0, 0, 0, time.UTC)
}

// world is the invented campaign while its story unfolds.
type world struct {
	rand      *rand.Rand
	catalogue catalogue
	agenda    agenda
	stock     ledger
	units     register
	runs      []run
}

// Generate returns the season files, by file name, made from catalogueCSV,
// the content of catalogue.csv. It fails when the catalogue lacks an item
// that the story uses or holds a cell it can't read.
func Generate(catalogueCSV []byte) (map[string][]byte, error) {
	items, err := readCatalogue(catalogueCSV)
	if err != nil {
		return nil, err
	}
	w := &world{
		rand:      rand.New(rand.NewPCG(seed, seed)),
		catalogue: items,
		stock:     newLedger(),
		units:     newRegister(),
	}
	if err := w.checkTables(); err != nil {
		return nil, err
	}
	w.planUnits()
	w.planRuns()
	w.planStock()
	w.agenda.play(records.until)
	return w.files()
}

// checkTables refuses a catalogue without the items that the tables name.
func (w *world) checkTables() error {
	for _, part := range partsInTables() {
		if _, ok := w.catalogue.byPart[part]; !ok {
			return fmt.Errorf("catalogue.csv: no item %s, which the seasons use: add it or take it out of the tables", part)
		}
	}
	return nil
}

func (w *world) files() (map[string][]byte, error) {
	tables := map[string][][]string{
		"locations.csv":    locationRows(),
		"units.csv":        w.units.unitRows(),
		"unit_events.csv":  w.units.eventRows(),
		"lots.csv":         w.stock.lotRows(),
		"movements.csv":    w.stock.movementRows(),
		"runs.csv":         runRows(w.runs),
		"planned_runs.csv": plannedRunRows(),
	}
	files := map[string][]byte{}
	for name, rows := range tables {
		var b bytes.Buffer
		if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		files[name] = b.Bytes()
	}
	return files, nil
}

// between returns a whole number from low to high, both included.
func (w *world) between(low, high int) int { return low + w.rand.IntN(high-low+1) }

// workingTime returns a minute of the working day of date, 7:00 to 18:59 UTC.
func (w *world) workingTime(date time.Time) time.Time {
	return date.Add(7*time.Hour + time.Duration(w.rand.IntN(12*60))*time.Minute)
}

func stamp(t time.Time) string { return t.Format(time.RFC3339) }

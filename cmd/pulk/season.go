package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"strings"
	"time"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// season plays the records of past seasons (testdata/seasons) into a log, each row
// as one command of its person at its time, through the same rules as any other.
type season struct {
	ctx    context.Context
	log    *changelog.Log
	files  fs.FS
	person clock.Dot            // who kept the books
	runs   map[string]clock.Dot // by the name in the files
	expiry map[string]string    // by part number and lot
	rows   int
}

// playSeasons plays everything that is in the files, in the order of time.
func playSeasons(ctx context.Context, log *changelog.Log, files fs.FS, keeper string) (rows int, err error) {
	s := &season{ctx: ctx, log: log, files: files, runs: map[string]clock.Dot{}, expiry: map[string]string{}}
	err = log.View(ctx, func(tx *changelog.Tx) error {
		p, err := crew.ByCode(tx, keeper)
		if err == nil {
			s.person = p.ID
		}
		return err
	})
	for _, step := range []func() error{s.locations, s.lots, s.units, s.events} {
		if err == nil {
			err = step()
		}
	}
	return s.rows, err
}

// read returns the rows of a file, by column.
func (s *season) read(name string) ([]map[string]string, error) {
	source, err := fs.ReadFile(s.files, "seasons/"+name)
	if err != nil {
		return nil, err
	}
	cells, err := csv.NewReader(bytes.NewReader(source)).ReadAll()
	if err != nil || len(cells) == 0 {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	var rows []map[string]string
	for i, line := range cells[1:] {
		row := map[string]string{"": fmt.Sprintf("%s:%d", name, i+2)}
		for j, column := range cells[0] {
			row[column] = line[j]
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// do writes one row as a command at its time.
func (s *season) do(row map[string]string, at time.Time, fn func(tx *changelog.Tx) error) error {
	s.rows++
	_, err := s.log.Write(s.ctx, changelog.Author{Person: s.person, Now: at}, fn)
	if err != nil {
		return fmt.Errorf("%s: %w", row[""], err)
	}
	return nil
}

// seasonsBegin is before everything in the files.
var seasonsBegin = time.Date(2025, 6, 30, 8, 0, 0, 0, time.UTC)

func (s *season) locations() error {
	rows, err := s.read("locations.csv")
	if err != nil {
		return err
	}
	for _, row := range rows {
		err := s.do(row, seasonsBegin, func(tx *changelog.Tx) error {
			var parent clock.Dot
			if row["parent"] != "" {
				l, err := stock.FindLocation(tx, row["parent"])
				if err != nil {
					return err
				}
				parent = l.ID
			}
			_, err := stock.AddLocation(tx, row["code"], row["name"], parent)
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (s *season) lots() error {
	rows, err := s.read("lots.csv")
	for _, row := range rows {
		s.expiry[row["part_number"]+"\x00"+row["lot"]] = row["expires_on"]
	}
	return err
}

// units makes the units known; where they come to is told by their first event.
func (s *season) units() error {
	rows, err := s.read("units.csv")
	if err != nil {
		return err
	}
	for _, row := range rows {
		err := s.do(row, seasonsBegin, func(tx *changelog.Tx) error {
			it, err := stock.FindItem(tx, row["part_number"])
			if err != nil {
				return err
			}
			_, err = unit.Add(tx, it, row["serial"], "", clock.Dot{})
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// deed is a row of one of the files that tell what happened when.
type deed struct {
	at   time.Time
	row  map[string]string
	play func(tx *changelog.Tx, row map[string]string) error
}

// events merges movements, events of units and runs by time, and plays them.
func (s *season) events() error {
	var all []deed
	for _, file := range []struct {
		name, column string
		play         func(tx *changelog.Tx, row map[string]string) error
	}{{"runs.csv", "started_at", s.startRun}, {"movements.csv", "at", s.movement}, {"unit_events.csv", "at", s.unitEvent}, {"runs.csv", "finished_at", s.endRun}} {
		rows, err := s.read(file.name)
		if err != nil {
			return err
		}
		for _, row := range rows {
			if row[file.column] == "" {
				continue
			}
			at, err := time.Parse(time.RFC3339, row[file.column])
			if err != nil {
				return fmt.Errorf("%s: %w", row[""], err)
			}
			all = append(all, deed{at, row, file.play})
		}
	}
	slices.SortStableFunc(all, func(a, b deed) int { return a.at.Compare(b.at) })
	for _, d := range all {
		if err := s.do(d.row, d.at, func(tx *changelog.Tx) error { return d.play(tx, d.row) }); err != nil {
			return err
		}
	}
	return nil
}

func (s *season) startRun(tx *changelog.Tx, row map[string]string) error {
	revision, err := procedure.Find(tx, row["procedure"])
	if err != nil {
		return err
	}
	var target clock.Dot
	if row["target_serial"] != "" {
		if target, err = findUnit(tx, row["target_serial"]); err != nil {
			return err
		}
	}
	id, err := run.Start(tx, revision, target, clock.Dot{}, row["run"])
	s.runs[row["run"]] = id
	return err
}

// endRun ends a run whose steps were kept on paper, and says so.
func (s *season) endRun(tx *changelog.Tx, row map[string]string) error {
	me, err := crew.Get(tx, s.person)
	if err != nil {
		return err
	}
	doing, err := run.Open(tx, me, s.runs[row["run"]])
	if err != nil {
		return err
	}
	return doing.End(true, "carried out on paper, before pulk; its steps are not in this store")
}

func (s *season) movement(tx *changelog.Tx, row map[string]string) error {
	it, err := stock.FindItem(tx, row["part_number"])
	if err != nil {
		return err
	}
	n, err := strconv.ParseInt(row["quantity"], 10, 64)
	if err != nil {
		return err
	}
	var from, to *stock.Location
	for _, end := range []struct {
		code string
		l    **stock.Location
	}{{row["from"], &from}, {row["to"], &to}} {
		if end.code != "" {
			if *end.l, err = stock.FindLocation(tx, end.code); err != nil {
				return err
			}
		}
	}
	lot := row["lot"]
	switch row["reason"] {
	case "receive":
		_, err = stock.Receive(tx, it, lot, to, n, s.expiry[it.PartNumber+"\x00"+lot], "")
	case "move":
		_, err = stock.Move(tx, it, lot, from, to, n, "", "")
	case "issue":
		_, err = stock.Issue(tx, it, lot, from, n, s.runs[row["run"]], 0, "", "as the season's file has it")
	case "scrap":
		_, err = stock.Scrap(tx, it, lot, from, n, "season's end")
	case "count":
		err = s.count(tx, it, lot, from, to, n)
	default:
		err = fmt.Errorf("unknown reason %q", row["reason"])
	}
	return err
}

// count turns a difference, as the files have it, into what was counted.
func (s *season) count(tx *changelog.Tx, it *stock.Item, lot string, from, to *stock.Location, difference int64) error {
	at := to
	if at == nil {
		at, difference = from, -difference
	}
	stacks, err := stock.Stacks(tx, it, at)
	if err != nil {
		return err
	}
	held := int64(0)
	for _, stack := range stacks {
		if stack.Lot == lot {
			held = stack.Quantity
		}
	}
	_, err = stock.Count(tx, it, lot, at, held+difference, "season's count")
	return err
}

func (s *season) unitEvent(tx *changelog.Tx, row map[string]string) error {
	u, err := unit.FindBySerial(tx, row["serial"])
	if err != nil {
		return err
	}
	place, err := stock.FindLocation(tx, row["place"])
	if err != nil {
		return err
	}
	switch row["event"] {
	case "receive", "move":
		return unit.Move(tx, u, place, row["detail"])
	case "remove":
		return unit.Remove(tx, u, place, row["detail"])
	case "install":
		serial, slot, _ := strings.Cut(row["detail"], "/")
		into, err := unit.FindBySerial(tx, serial)
		if err != nil {
			return err
		}
		return unit.Install(tx, u, into, slot, clock.Dot{})
	case "fail":
		hours := int64(unit.UnknownHours)
		if row["hours"] != "" {
			if hours, err = strconv.ParseInt(row["hours"], 10, 64); err != nil {
				return err
			}
		}
		return unit.Fail(tx, u, row["detail"], hours, clock.Dot{})
	}
	return fmt.Errorf("unknown event %q", row["event"])
}

// importCatalogue takes the catalogue of the files into the store.
func importCatalogue(tx *changelog.Tx, files fs.FS) error {
	source, err := fs.ReadFile(files, "catalogue.csv")
	if err != nil {
		return err
	}
	items, faults := stock.ParseCatalogue(source)
	if len(faults) > 0 {
		return fmt.Errorf("catalogue.csv:%s", faults[0])
	}
	_, err = stock.Import(tx, items)
	return err
}

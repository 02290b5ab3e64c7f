package run

import (
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Summary is what a list of runs shows.
type Summary struct {
	ID       clock.Dot
	Revision clock.Dot
	Target   clock.Dot
	Location clock.Dot
}

// List returns all runs whose start is here, in the order of their ids.
func List(tx *changelog.Tx) ([]Summary, error) {
	return summaries(tx, "SELECT dot, revision, target, location FROM run ORDER BY dot")
}

// OnTarget returns the runs on a unit.
func OnTarget(tx *changelog.Tx, unit clock.Dot) ([]Summary, error) {
	return summaries(tx, "SELECT dot, revision, target, location FROM run WHERE target = ? ORDER BY dot", unit.Key())
}

// Recording returns the runs that recorded the serial of a unit and whose start is
// here.
func Recording(tx *changelog.Tx, unit clock.Dot) ([]Summary, error) {
	return summaries(tx, "SELECT dot, revision, target, location FROM run WHERE dot IN (SELECT run FROM recorded_unit WHERE unit = ?) ORDER BY dot", unit.Key())
}

func summaries(tx *changelog.Tx, query string, args ...any) ([]Summary, error) {
	var list []Summary
	err := tx.Each(query, args, func(scan func(...any) error) error {
		var s Summary
		if err := scan(&s.ID, &s.Revision, &s.Target, &s.Location); err != nil {
			return err
		}
		list = append(list, s)
		return nil
	})
	return list, err
}

// crossedRuns returns the runs in which steps were done, or faults decided, in more
// than one lane. The first 11 bytes of a dot name its lane.
func crossedRuns(tx *changelog.Tx) (map[clock.Dot]bool, error) {
	found := map[clock.Dot]bool{}
	err := tx.Each(`SELECT run FROM run_entry GROUP BY run
		HAVING count(DISTINCT CASE WHEN kind IN (12, 14) THEN substr(dot, 1, 11) END) > 1
			OR count(DISTINCT CASE WHEN kind = 19 THEN substr(dot, 1, 11) END) > 1`, nil, func(scan func(...any) error) error {
		var key []byte
		if err := scan(&key); err != nil {
			return err
		}
		dot, err := clock.DotFromKey(key)
		found[dot] = true
		return err
	})
	return found, err
}

// typedRuns returns the runs of which something was typed in from paper.
func typedRuns(tx *changelog.Tx) (map[clock.Dot]bool, error) {
	found := map[clock.Dot]bool{}
	dots, err := tx.Dots("SELECT DISTINCT run FROM paper_mark")
	for _, dot := range dots {
		found[dot] = true
	}
	return found, err
}

// Unended returns the runs that nobody has ended, in the order of their ids.
func Unended(tx *changelog.Tx) ([]Summary, error) {
	return summaries(tx, "SELECT dot, revision, target, location FROM run WHERE NOT EXISTS (SELECT 1 FROM run_entry AS e WHERE e.run = run.dot AND e.kind = 11) ORDER BY dot")
}

// NotHereYet returns the runs that something here is about although their start
// is not here, and how many entries each has.
func NotHereYet(tx *changelog.Tx) (map[clock.Dot]int, error) {
	found := map[clock.Dot]int{}
	err := tx.Each("SELECT run, count(*) FROM run_entry WHERE run NOT IN (SELECT dot FROM run) GROUP BY run", nil, func(scan func(...any) error) error {
		var key []byte
		var n int
		if err := scan(&key, &n); err != nil {
			return err
		}
		dot, err := clock.DotFromKey(key)
		found[dot] = n
		return err
	})
	return found, err
}

// About returns the run that a change is about; false where it is about none.
func About(e *changelog.Entry) (clock.Dot, bool) {
	column, ok := runColumn[e.Kind]
	if !ok || e.Values[column].Ref.IsZero() {
		return clock.Dot{}, false
	}
	return e.Values[column].Ref, true
}

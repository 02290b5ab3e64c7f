package main

import (
	"fmt"
	"maps"
	"slices"

	"pulk/checklist/crew"
	"pulk/checklist/run"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// runRow is a run of --json.
type runRow struct {
	ID        string `json:"id"`
	Title     string `json:"title"`
	Procedure string `json:"procedure"`
	Revision  string `json:"revision"`
	Target    string `json:"target"`
	Owner     string `json:"owner"`
	StartedAt string `json:"started_at"`
	StartedBy string `json:"started_by"`
	Done      int    `json:"steps_done"`
	Steps     int    `json:"steps"`
	OpenNCs   int    `json:"open_nonconformances"`
	Next      string `json:"next_step"`
	State     string `json:"state"` // open, finished, ended, abandoned, not here yet
}

func runRowOf(tx *changelog.Tx, s *run.State) (runRow, error) {
	row := runRow{ID: tx.Name(s.Run), Title: s.Title, StartedAt: *jsonTime(s.At.Time()), State: "open", Steps: len(s.Steps)}
	var err error
	if row.StartedBy, err = crew.Label(tx, s.Person); err != nil {
		return row, err
	}
	if row.Target, err = tx.Describe(s.Target); err != nil {
		return row, err
	}
	if row.Owner, err = ownerOf(tx, s.Run); err != nil {
		return row, err
	}
	if s.Procedure != nil {
		row.Procedure, row.Revision = s.Procedure.ID, s.Procedure.Revision
	}
	for _, step := range s.Steps {
		if step.Done {
			row.Done++
		}
	}
	for _, nc := range s.NCs {
		if nc.Open {
			row.OpenNCs++
		}
	}
	if n, ok := s.Next(); ok {
		row.Next = s.Steps[n].Step.ID
	}
	switch {
	case s.Ended != nil && s.Ended.Answer == 1:
		row.State = "abandoned"
	case s.Ended != nil:
		row.State = "ended"
	case s.Finished():
		row.State = "finished"
	}
	return row, nil
}

func ownerOf(tx *changelog.Tx, id clock.Dot) (string, error) {
	r, err := tx.Register(id, kind.FieldRunOwner, "")
	if err != nil || len(r.Values) == 0 {
		return "", err
	}
	value, ok, err := tx.Stands(r)
	if err != nil || !ok {
		return "contested", err
	}
	return crew.Label(tx, value.Ref)
}

func (c *call) runList() error {
	stayFrugal()
	return c.view(func(tx *changelog.Tx) error {
		listed := run.Unended // no more need be read than is shown
		if c.Bool("all") {
			listed = run.List
		}
		list, err := listed(tx)
		if err != nil {
			return err
		}
		reader := run.NewReader(tx)
		rows := []runRow{}
		t := newTable("run", "title", "on", "done", "open nc", "next", "state", "started")
		for _, summary := range list {
			record, err := reader.Load(summary.ID)
			if err != nil {
				return err
			}
			row, err := runRowOf(tx, run.Evaluate(record))
			if err != nil {
				return err
			}
			if !c.Bool("all") && (row.State == "ended" || row.State == "abandoned") {
				continue
			}
			rows = append(rows, row)
			t.add(row.ID, row.Title, row.Target, fmt.Sprintf("%d/%d", row.Done, row.Steps), row.OpenNCs, row.Next, row.State, c.env.stampText(record.At))
		}
		missing, err := run.NotHereYet(tx)
		if err != nil {
			return err
		}
		for _, id := range slices.SortedFunc(maps.Keys(missing), clock.Dot.Compare) {
			n := missing[id]
			rows = append(rows, runRow{ID: tx.Name(id), State: stateNotHere})
			t.add(tx.Name(id), fmt.Sprintf("(its start is not here yet; %s)", plural(n, "entry about it is", "entries about it are")), "", "", "", "", stateNotHere, "")
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No runs: start one with pulk run start (ended ones: --all).")
		return nil
	})
}

package main

import (
	"fmt"
	"strings"
	"time"

	"pulk/checklist/conditions"
	"pulk/checklist/crew"
	"pulk/checklist/run"
	"pulk/sync/changelog"
)

// allowedRow is by what an entry about a step was allowed when it was written.
type allowedRow struct {
	Weather          string   `json:"weather"`           // id; empty where none was asked for
	Celsius          string   `json:"temperature_degc"`  // of that weather; empty while it is not here
	Wind             string   `json:"wind_m_per_s"`      //
	Voided           bool     `json:"weather_voided"`    // since then
	WindChill        string   `json:"wind_chill"`        // index; empty where there is none
	FrostbiteMinutes int64    `json:"frostbite_minutes"` // after which exposed skin can freeze; -1 where no time is given
	WorkMinutes      int64    `json:"work_minutes"`      // at a stretch, at most; -1 where there is no limit
	Rested           bool     `json:"rested"`            // it is heavy work, and days of rest at height were over
	Needs            []string `json:"needs"`             // codes that were asked for, and there
}

func allowedRowOf(tx *changelog.Tx, a conditions.Allowed) *allowedRow {
	row := &allowedRow{WindChill: a.WindChill, FrostbiteMinutes: a.FrostbiteMinutes, WorkMinutes: a.WorkMinutes, Rested: a.Rested, Needs: append([]string{}, a.Needs...)}
	if !a.WeatherID.IsZero() {
		row.Weather = tx.Name(a.WeatherID)
	}
	if a.Weather != nil {
		row.Celsius, row.Wind, row.Voided = a.Weather.Celsius.String(), a.Weather.MetresPerSecond.String(), a.Weather.Voided
	}
	return row
}

// words says it in a line.
func (r *allowedRow) words() string {
	var parts []string
	if r.Weather != "" {
		text := "weather " + r.Weather
		if r.Celsius != "" {
			text += fmt.Sprintf(" %s °C, %s m/s", r.Celsius, r.Wind)
		}
		if r.WindChill != "" {
			text += ", wind chill " + r.WindChill
		}
		if r.WorkMinutes >= 0 {
			text += fmt.Sprintf(", at most %d minutes at a stretch", r.WorkMinutes)
		}
		if r.Voided {
			text += "; THAT WEATHER WAS VOIDED SINCE"
		}
		parts = append(parts, text)
	}
	if r.Rested {
		parts = append(parts, "rest at height over")
	}
	if len(r.Needs) > 0 {
		parts = append(parts, "had "+strings.Join(r.Needs, ", "))
	}
	return "allowed by: " + strings.Join(parts, "; ")
}

// addConditions fills in what a step asks for, by what its entries were allowed, and for
// one that is open what its place allows now.
func addConditions(tx *changelog.Tx, s *run.State, step run.StepState, row *stepRow, allowed map[conditions.Deed]conditions.Allowed, now time.Time) error {
	row.Outdoor, row.Heavy, row.Needs, row.Now = step.Step.Outdoor, step.Step.Heavy, append([]string{}, step.Step.Needs...), []string{}
	entries := append(append([]*run.Entry{}, step.Entries...), step.Voided...)
	for i, e := range entries {
		if a, ok := allowed[conditions.DeedOf(e.Dot, e.Step)]; ok {
			row.Entries[i].Allowed = allowedRowOf(tx, a)
		}
	}
	if step.Done || !step.Step.Outdoor || s.Ended != nil {
		return nil
	}
	j, err := conditions.JudgePlace(tx, conditions.Ask{Step: step.Step, Location: s.Location, Now: now})
	if err == nil {
		row.Now = j.Warnings()
	}
	return err
}

// warningsFor says what somebody who looks at a step now is to heed: why it must not be
// done, then advice. It is empty for a step that asks for no conditions.
func warningsFor(tx *changelog.Tx, s *run.State, n int, me *crew.Person, now time.Time) ([]string, error) {
	step := s.Steps[n].Step
	if !conditions.Asked(step) || s.Steps[n].Done {
		return nil, nil
	}
	if _, begun := s.WaitEnds(n); begun {
		return nil, nil
	}
	j, err := conditions.Judge(tx, conditions.Ask{Step: step, Location: s.Location, Person: me, Now: now})
	if err != nil {
		return nil, err
	}
	return j.Warnings(), nil
}

// asksText says in a line what conditions a step asks for.
func (row *stepRow) asksText() string {
	var parts []string
	if row.Outdoor {
		parts = append(parts, "outdoors")
	}
	if row.Heavy {
		parts = append(parts, "heavy work")
	}
	if len(row.Needs) > 0 {
		parts = append(parts, "needs "+strings.Join(row.Needs, ", "))
	}
	return strings.Join(parts, "; ")
}

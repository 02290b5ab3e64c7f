package conditions

import (
	"time"

	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Projection keeps the tables of entered weather, and of what entries were allowed by.
type Projection struct{}

// Name implements [changelog.Projector].
func (Projection) Name() string { return "conditions" }

// Schema implements [changelog.Projector].
func (Projection) Schema() string {
	return `
-- weather is what people read at a place.
CREATE TABLE weather (
  dot           BLOB PRIMARY KEY,
  location      BLOB, -- dot
  celsius       INTEGER NOT NULL, celsius_scale INTEGER NOT NULL,
  wind          INTEGER NOT NULL, wind_scale INTEGER NOT NULL, -- m/s
  observed      INTEGER NOT NULL, -- Unix minutes
  valid_minutes INTEGER NOT NULL,
  source        TEXT NOT NULL,
  person        BLOB
) STRICT, WITHOUT ROWID;
CREATE INDEX weather_location ON weather (location, observed);

-- weather_void is what was voided that belongs to no run: weather is among it.
CREATE TABLE weather_void (
  target BLOB NOT NULL, -- dot
  dot    BLOB NOT NULL,
  PRIMARY KEY (target, dot)
) STRICT, WITHOUT ROWID;

-- step_conditions is by what an entry about a step was allowed.
CREATE TABLE step_conditions (
  run               BLOB NOT NULL, -- dot
  dot               BLOB NOT NULL,
  step              INTEGER NOT NULL,
  weather           BLOB, -- dot
  wind_chill        TEXT NOT NULL,
  frostbite_minutes INTEGER NOT NULL,
  work_minutes      INTEGER NOT NULL,
  rested            INTEGER NOT NULL,
  needs             TEXT NOT NULL,
  PRIMARY KEY (run, dot)
) STRICT, WITHOUT ROWID;
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string { return []string{"weather", "weather_void", "step_conditions"} }

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	v := e.Values
	switch {
	case e.Kind == kind.WeatherAdd:
		return tx.Exec(`INSERT INTO weather (dot, location, celsius, celsius_scale, wind, wind_scale, observed, valid_minutes, source, person)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, e.Dot.Key(), v[0].Ref.Key(), v[1].Num, v[1].Scale, v[2].Num, v[2].Scale, v[3].Num, v[4].Num, v[5].Text, e.Person.Key())
	case e.Kind == kind.Void && v[1].Ref.IsZero() && !v[0].Ref.IsZero():
		return tx.Exec("INSERT INTO weather_void (target, dot) VALUES (?, ?)", v[0].Ref.Key(), e.Dot.Key())
	case e.Kind == kind.StepConditions && !v[0].Ref.IsZero():
		return tx.Exec(`INSERT INTO step_conditions (run, dot, step, weather, wind_chill, frostbite_minutes, work_minutes, rested, needs) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			v[0].Ref.Key(), e.Dot.Key(), v[1].Num, v[2].Ref.Key(), v[3].Text, v[4].Num, v[5].Num, v[6].Num, v[7].Text)
	}
	return nil
}

// Describe implements [changelog.Describer].
func (Projection) Describe(tx *changelog.Tx, id clock.Dot) (string, error) {
	found, err := tx.Row("SELECT 1 FROM weather WHERE dot = ?", []any{id.Key()}, new(int))
	if !found || err != nil {
		return "", err
	}
	return "weather " + tx.Name(id), nil
}

func byPlace(tx *changelog.Tx, location clock.Dot) ([]Weather, error) {
	return read(tx, "WHERE location = ?", location.Key())
}

func byID(tx *changelog.Tx, id clock.Dot) ([]Weather, error) {
	return read(tx, "WHERE dot = ?", id.Key())
}

// lastMinute is the end of the year 9999: what another program wrote may be any number.
const lastMinute = 4_223_371_680

// listMax bounds how much is listed.
const listMax = 200

func all(tx *changelog.Tx) ([]Weather, error) { return read(tx, "") }

// read returns the weather that a condition picks, the latest reading first.
func read(tx *changelog.Tx, where string, args ...any) ([]Weather, error) {
	var list []Weather
	err := tx.Each(`SELECT dot, location, celsius, celsius_scale, wind, wind_scale, observed, valid_minutes, source, person,
		EXISTS (SELECT 1 FROM weather_void AS v WHERE v.target = w.dot) FROM weather AS w `+where+" ORDER BY observed DESC, dot DESC LIMIT ?",
		append(args, listMax), func(scan func(...any) error) error {
			var w Weather
			var dot, location, person []byte
			var celsius, wind decimal.Decimal
			var observed, valid int64
			err := scan(&dot, &location, &celsius.Mantissa, &celsius.Scale, &wind.Mantissa, &wind.Scale, &observed, &valid, &w.Source, &person, &w.Voided)
			w.Celsius, w.MetresPerSecond = celsius, wind
			w.At, w.Valid = time.Unix(min(observed, lastMinute)*60, 0).UTC(), time.Duration(min(valid, int64(MaxValid/time.Minute)))*time.Minute
			for _, part := range []struct {
				key []byte
				to  *clock.Dot
			}{{dot, &w.ID}, {location, &w.Location}, {person, &w.Person}} {
				if err == nil {
					*part.to, err = clock.DotFromKey(part.key)
				}
			}
			list = append(list, w)
			return err
		})
	return list, err
}

// Allowed is by what an entry about a step was allowed.
type Allowed struct {
	Weather          *Weather // nil where none was asked for, or it is not here yet
	WeatherID        clock.Dot
	WindChill        string // index; empty where there is none
	FrostbiteMinutes int64  // -1: no time is given
	WorkMinutes      int64  // -1: no limit
	Rested           bool   // days of rest at height were over
	Needs            []string
}

// Deed names the entries about one step in one change-set.
type Deed struct {
	Set  clock.Dot // its first change
	Step int
}

// DeedOf names the deed that an entry is part of.
func DeedOf(entry clock.Dot, step int) Deed {
	entry.Index = 0
	return Deed{entry, step}
}

// AllowedBy returns by what the entries of a run were allowed.
func AllowedBy(tx *changelog.Tx, run clock.Dot) (map[Deed]Allowed, error) {
	by := map[Deed]Allowed{}
	err := tx.Each("SELECT dot, step, weather, wind_chill, frostbite_minutes, work_minutes, rested, needs FROM step_conditions WHERE run = ?", []any{run.Key()},
		func(scan func(...any) error) error {
			var a Allowed
			var dot, weather []byte
			var needs string
			var step int
			if err := scan(&dot, &step, &weather, &a.WindChill, &a.FrostbiteMinutes, &a.WorkMinutes, &a.Rested, &needs); err != nil {
				return err
			}
			a.Needs = splitCodes(needs)
			var err error
			if a.WeatherID, err = clock.DotFromKey(weather); err != nil {
				return err
			}
			of, err := clock.DotFromKey(dot)
			by[DeedOf(of, step)] = a
			return err
		})
	if err != nil {
		return nil, err
	}
	for of, a := range by {
		list, err := byID(tx, a.WeatherID)
		if err != nil {
			return nil, err
		}
		if len(list) > 0 {
			a.Weather = &list[0]
			by[of] = a
		}
	}
	return by, nil
}

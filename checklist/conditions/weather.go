// Package conditions keeps the weather that people enter at a place, and says whether
// a step may be done now: in that weather, so soon after an arrival at height, by
// somebody with those trainings and clearances.
//
// The limits are those of package exposure. What is asked here depends on the clock and
// on what is confined to a few sites, so it is asked when somebody enters something,
// and never when a state is worked out: what a gate says is the same at every site. The
// facts that an entry was allowed by are written beside it (docs/decisions/exposure.md).
package conditions

import (
	"strings"
	"time"
	"unicode/utf8"

	"pulk/checklist/exposure"
	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Weather is the weather at a place as somebody read it.
type Weather struct {
	ID              clock.Dot
	Location        clock.Dot
	Celsius         decimal.Decimal
	MetresPerSecond decimal.Decimal // at a height of 10 m
	At              time.Time       // when it was read
	Valid           time.Duration
	Source          string // instrument, forecast; may be empty
	Person          clock.Dot
	Voided          bool
}

// Until returns the time from which it holds no more.
func (w *Weather) Until() time.Time { return w.At.Add(w.Valid) }

// Holds reports whether it counts at a time.
func (w *Weather) Holds(now time.Time) bool {
	return !w.Voided && !now.Before(w.At) && now.Before(w.Until())
}

// Air returns it as package exposure takes it.
func (w *Weather) Air() exposure.Air {
	return exposure.Air{Celsius: w.Celsius.Float64(), MetresPerSecond: w.MetresPerSecond.Float64()}
}

// DefaultValid is how long a reading counts where nobody says otherwise; MaxValid is the
// longest that can be said: weather turns (common practice).
const (
	DefaultValid = 2 * time.Hour
	MaxValid     = 12 * time.Hour
)

const sourceRunes = 80

// tolerated is how far ahead of this site's clock a reading may be: a minute's slip.
const tolerated = 5 * time.Minute

// Add writes the weather at a place.
func Add(tx *changelog.Tx, w Weather) (clock.Dot, error) {
	now := tx.Author().Now
	switch c, wind := w.Celsius.Float64(), w.MetresPerSecond.Float64(); {
	case w.Location.IsZero():
		return clock.Dot{}, fault.Misuse("name one; see: pulk location list", "the weather is that of a place")
	case c < -95 || c > 60:
		return clock.Dot{}, fault.Misuse("give the air temperature in °C, such as -31.5", "%s °C was never read anywhere", w.Celsius)
	case wind < 0 || wind > 115:
		return clock.Dot{}, fault.Misuse("give the wind in m/s, such as 7.5; 1 knot is 0.514 m/s", "a wind of %s m/s was never read anywhere", w.MetresPerSecond)
	case w.At.After(now.Add(tolerated)):
		return clock.Dot{}, fault.Misuse("give when it was read", "%s is yet to come", w.At.UTC().Format("2006-01-02 15:04Z"))
	case w.Valid < time.Minute || w.Valid > MaxValid:
		return clock.Dot{}, fault.Misuse("give at most 12 hours; read it again after that", "weather does not count for %s", w.Valid)
	case !w.At.Add(w.Valid).After(now):
		return clock.Dot{}, fault.Misuse("read it again", "that reading would count for nothing any more")
	case utf8.RuneCountInString(w.Source) > sourceRunes || strings.ContainsAny(w.Source, "\n\r"):
		return clock.Dot{}, fault.Misuse("one line of at most 80 characters", "the source is too long")
	}
	return tx.Add(change.New(kind.WeatherAdd, change.Ref(w.Location), change.Dec(w.Celsius), change.Dec(w.MetresPerSecond),
		change.Num(min(w.At.Unix(), now.Unix())/60), change.Num(int64(w.Valid/time.Minute)), change.Text(w.Source))), nil
}

// Void says that weather that was entered is not to be relied on. Nothing is erased.
func Void(tx *changelog.Tx, id clock.Dot, why string) error {
	list, err := byID(tx, id)
	switch {
	case err != nil:
		return err
	case why == "":
		return fault.Misuse("give it with --why", "voiding needs a reason")
	case len(list) == 0:
		return fault.Hint("see: pulk weather show", "%s is no weather that is here", tx.Name(id))
	case list[0].Voided:
		return fault.Hint("nothing to do", "%s is voided already", tx.Name(id))
	}
	tx.SetClass(clock.Expedited) // others may be about to go out by it
	tx.Add(change.New(kind.Void, change.Ref(id), change.Value{}, change.Text(why)))
	return nil
}

// At returns the weather that counts at a place at a time: of what was read there the
// latest, else of the place that it lies in, and so on. It is nil where none does.
func At(tx *changelog.Tx, location clock.Dot, now time.Time) (*Weather, error) {
	places, err := within(tx, location)
	for _, place := range places {
		if err != nil {
			return nil, err
		}
		var list []Weather
		if list, err = byPlace(tx, place); err != nil {
			return nil, err
		}
		for i := range list {
			if list[i].Holds(now) {
				return &list[i], nil
			}
		}
	}
	return nil, err
}

// List returns what was entered at a place, or anywhere where none is named, the latest
// reading first.
func List(tx *changelog.Tx, location clock.Dot) ([]Weather, error) {
	if location.IsZero() {
		return all(tx)
	}
	return byPlace(tx, location)
}

// placesMax bounds how many places lie within each other.
const placesMax = 16

// within returns a place, the place it lies in, and so on.
func within(tx *changelog.Tx, location clock.Dot) ([]clock.Dot, error) {
	var places []clock.Dot
	for !location.IsZero() && len(places) < placesMax {
		places = append(places, location)
		register, err := tx.Register(location, kind.FieldLocationParent, "")
		if err != nil {
			return nil, err
		}
		value, _, err := tx.Stands(register)
		if err != nil {
			return nil, err
		}
		location = value.Ref
	}
	return places, nil
}

// Elevation returns the height above the sea of a place, or of the place it lies in, and
// whether it is known.
func Elevation(tx *changelog.Tx, location clock.Dot) (metres decimal.Decimal, known bool, err error) {
	places, err := within(tx, location)
	for _, place := range places {
		if err != nil || known {
			break
		}
		var register changelog.Register
		if register, err = tx.Register(place, kind.FieldLocationElevation, ""); err != nil {
			break
		}
		value, ok, err := tx.Stands(register)
		if err != nil {
			return metres, false, err
		}
		if ok && value.Text != "" {
			metres, err = decimal.Parse(value.Text)
			known = err == nil
		}
	}
	return metres, known, err
}

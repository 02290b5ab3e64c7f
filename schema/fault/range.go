package fault

import (
	"fmt"
	"strconv"
)

// Outside is a value outside the range in which a formula is known to hold. What
// lies beyond it was never measured or fitted, so there is no answer, not even a
// rough one.
type Outside struct {
	What        string  // "depth", "wind speed"
	Value       float64 // in Unit
	Least, Most float64 // the range, both inclusive
	Unit        string  // as people write it; "" where there is none
	Source      string  // who states the range
}

func (o *Outside) Error() string {
	return fmt.Sprintf("%s %s is outside %s to %s%s, the range of %s", o.What, o.number(o.Value), number(o.Least), number(o.Most), o.unit(), o.Source)
}

// Within returns nil if least <= value <= most, else an *Outside. NaN lies within
// nothing.
func Within(what string, value, least, most float64, unit, source string) error {
	if value >= least && value <= most {
		return nil
	}
	return &Outside{what, value, least, most, unit, source}
}

func (o *Outside) number(value float64) string { return number(value) + o.unit() }

func (o *Outside) unit() string {
	if o.Unit == "" {
		return ""
	}
	return " " + o.Unit
}

func number(value float64) string { return strconv.FormatFloat(value, 'f', -1, 64) }

// Bound is a value with the range it must lie in.
type Bound struct {
	What        string
	Value       float64 // in Unit
	Least, Most float64
	Unit        string
}

// AllWithin returns an *[Outside] about the first value that lies outside its range,
// or nil. source is who states the ranges.
func AllWithin(source string, bounds ...Bound) error {
	for _, b := range bounds {
		if err := Within(b.What, b.Value, b.Least, b.Most, b.Unit, source); err != nil {
			return err
		}
	}
	return nil
}

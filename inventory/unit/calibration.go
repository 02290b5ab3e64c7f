package unit

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Calibration is what a certificate says of a unit that measures.
type Calibration struct {
	ID          clock.Dot
	Unit        clock.Dot
	Certificate string
	Laboratory  string
	Calibrated  string // YYYY-MM-DD
	Due         string // YYYY-MM-DD, the last day that it holds
	Note        string
	Statements  []Statement
	Voided      *CalibrationVoid // it must not be relied on, or nil
}

// Statement is the uncertainty that a certificate states for readings of one
// dimension: U = absolute + percent of the reading, expanded by the coverage factor.
type Statement struct {
	Unit     string // UCUM code, which absolute is in
	Absolute decimal.Decimal
	Percent  decimal.Decimal
	Coverage decimal.Decimal
}

// CalibrationVoid says that a calibration must not be relied on.
type CalibrationVoid struct {
	Dot clock.Dot
	Why string
}

// Overdue reports whether a calibration does not hold any more at a time.
func (c *Calibration) Overdue(now time.Time) bool { return now.UTC().Format(time.DateOnly) > c.Due }

// Standing returns the calibration that holds: of those that nobody voided the one
// done last, of several on one day the one due first. Nil where there is none.
func Standing(list []Calibration) *Calibration {
	var standing *Calibration
	for i := range list {
		c := &list[i]
		if c.Voided != nil {
			continue
		}
		if standing == nil || cmp.Or(cmp.Compare(standing.Calibrated, c.Calibrated), cmp.Compare(c.Due, standing.Due), c.ID.Compare(standing.ID)) < 0 {
			standing = c
		}
	}
	return standing
}

const maxCertificate = 80

// Calibrate records a calibration of a unit. It is refused for dates that cannot be,
// and for a certificate of the unit that is here already.
func Calibrate(tx *changelog.Tx, u *Unit, c Calibration) (clock.Dot, error) {
	calibrated, err := time.Parse(time.DateOnly, c.Calibrated)
	if err != nil {
		return clock.Dot{}, fault.Misuse("write it as 2026-05-31", "%q is no day of a calibration", c.Calibrated)
	}
	due, err := time.Parse(time.DateOnly, c.Due)
	switch {
	case err != nil:
		return clock.Dot{}, fault.Misuse("write it as 2027-05-31", "%q is no day that a calibration is due", c.Due)
	case due.Before(calibrated):
		return clock.Dot{}, fault.Misuse("look at the certificate again", "a calibration of %s cannot be due on %s", c.Calibrated, c.Due)
	case calibrated.After(tx.Author().Now.AddDate(0, 0, 1)):
		return clock.Dot{}, fault.Misuse("look at the certificate again, and at this machine's clock", "a calibration of %s has not happened yet", c.Calibrated)
	case strings.TrimSpace(c.Certificate) == "" || len(c.Certificate) > maxCertificate:
		return clock.Dot{}, fault.Misuse("give it with --certificate", "a calibration needs the number of its certificate, at most %d characters", maxCertificate)
	}
	for i, s := range c.Statements {
		if err := s.check(c.Statements[:i]); err != nil {
			return clock.Dot{}, err
		}
	}
	known, err := Calibrations(tx, u.ID)
	if err != nil {
		return clock.Dot{}, err
	}
	for _, k := range known {
		if k.Voided == nil && k.Certificate == c.Certificate && k.Calibrated == c.Calibrated && k.Due == c.Due && slices.Equal(k.Statements, c.Statements) {
			return clock.Dot{}, fault.Hint("nothing to do", "certificate %s of %s is recorded already (%s)", c.Certificate, u.Serial, tx.Name(k.ID))
		}
	}
	id := tx.Add(change.New(kind.UnitCalibrate, change.Ref(u.ID), change.Text(c.Certificate), change.Text(c.Laboratory), change.Text(c.Calibrated), change.Text(c.Due), change.Text(c.Note)))
	for _, s := range c.Statements {
		tx.Add(change.New(kind.UnitUncertainty, change.Ref(id), change.Text(s.Unit), change.Dec(s.Absolute), change.Dec(s.Percent), change.Dec(s.Coverage)))
	}
	return id, nil
}

// check refuses what no certificate states.
func (s Statement) check(before []Statement) error {
	most := decimal.Decimal{Mantissa: 10}
	switch {
	case s.Absolute.Mantissa < 0 || s.Percent.Mantissa < 0 || s.Absolute.Mantissa == 0 && s.Percent.Mantissa == 0:
		return fault.Misuse("give the expanded uncertainty as the certificate has it", "an uncertainty in %s that is 0 or less", s.Unit)
	case s.Coverage.Mantissa <= 0 || s.Coverage.Cmp(most) > 0:
		return fault.Misuse("it is 2 on most certificates", "%s is no coverage factor", s.Coverage)
	}
	for _, other := range before {
		if other.Unit == s.Unit {
			return fault.Misuse("give the greatest of the ranges in use", "two uncertainties in %s", s.Unit)
		}
	}
	return nil
}

// VoidCalibration says that a calibration must not be relied on. Every reading that
// carries it, at every site, is set aside.
func VoidCalibration(tx *changelog.Tx, u *Unit, id clock.Dot, why string) error {
	list, err := Calibrations(tx, u.ID)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(list, func(c Calibration) bool { return c.ID == id })
	switch {
	case i < 0:
		return fault.Hint("see: pulk unit show "+u.Serial, "%s has no calibration %s here", u.Serial, tx.Name(id))
	case list[i].Voided != nil:
		return fault.Hint("nothing to do", "%s is voided already", tx.Name(id))
	case why == "":
		return fault.Misuse("give it with --why", "voiding needs a reason")
	}
	tx.SetClass(clock.Expedited)
	tx.Add(change.New(kind.Void, change.Ref(id), change.Value{}, change.Text(why)))
	return nil
}

package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/checklist/ucum"
	"pulk/inventory/unit"
	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) unitCalibrateCommand() *cli.Command {
	return verb{path: "pulk unit calibrate", args: "SERIAL", minArgs: 1, maxArgs: 1, usage: "record a calibration of an instrument, or void one", writes: true,
		about: "The instrument is in calibration through the day that is given with --due, in UTC. State each uncertainty as the certificate has it, expanded, " +
			"for one dimension: the unit, a colon, and an absolute part, a part in per cent of the reading, or both. " +
			"--void says that a calibration must not be relied on: every reading that carries it is set aside, at every site, and the gates that rest on it are shut. " +
			"To mend a slip, record the calibration again.",
		examples: []string{`pulk unit calibrate TST-0031 --certificate C-8841 --laboratory "Fjordlab" --on 2026-06-02 --due 2027-06-30 --uncertainty "MOhm: 2 + 3 %" --uncertainty "V: 0.5 %" --as oskar`,
			`pulk unit calibrate TST-0031 --void home-33 --why "certificate recalled by the laboratory" --as oskar`},
		flags: []cli.Flag{&cli.StringFlag{Name: "certificate", Usage: "`NUMBER` of the certificate"}, &cli.StringFlag{Name: "laboratory", Usage: "`NAME` of who calibrated it"},
			&cli.StringFlag{Name: "on", Usage: "`DAY` of the calibration, YYYY-MM-DD"}, &cli.StringFlag{Name: "due", Usage: "last `DAY` that it holds"},
			&cli.StringSliceFlag{Name: "uncertainty", Usage: "`\"UNIT: U + P %\"`, once for each dimension"},
			&cli.StringFlag{Name: "k", Value: "2", Usage: "the coverage `FACTOR` of the uncertainties"}, &cli.StringFlag{Name: "note", Usage: "a `REMARK`"},
			&cli.StringFlag{Name: "void", Usage: "the `ID` of a calibration that must not be relied on"}, &cli.StringFlag{Name: "why", Usage: "the `REASON`"}},
		action: (*call).unitCalibrate}.command(e)
}

func (c *call) unitCalibrate() error {
	if c.String("void") != "" {
		return c.voidCalibration()
	}
	calibration, err := c.calibrationFlags()
	if err != nil {
		return err
	}
	said := ""
	return c.onUnit(func(tx *changelog.Tx, u *unit.Unit) error {
		id, err := unit.Calibrate(tx, u, calibration)
		if err != nil {
			return err
		}
		said = fmt.Sprintf("%s is calibrated through %s (%s)", u.Serial, calibration.Due, tx.Name(id))
		if calibration.Overdue(c.env.now()) {
			said += ", which is over: readings taken with it do not count"
		}
		return nil
	}, func() { c.say(said) })
}

func (c *call) voidCalibration() error {
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		u, err := unit.FindBySerial(tx, c.Args().First())
		if err != nil {
			return err
		}
		id, err := tx.ParseName(c.String("void"))
		if err != nil {
			return fault.Misuse("see: pulk unit show "+u.Serial, "%s", err)
		}
		return unit.VoidCalibration(tx, u, id, c.String("why"))
	}, func() {
		c.printf("%s is voided; it stays on record, and the readings that carry it are set aside\n", c.String("void"))
	})
}

func (c *call) calibrationFlags() (unit.Calibration, error) {
	out := unit.Calibration{Certificate: c.String("certificate"), Laboratory: c.String("laboratory"), Calibrated: c.String("on"), Due: c.String("due"), Note: c.String("note")}
	coverage, err := decimal.Parse(c.String("k"))
	if err != nil {
		return out, fault.Misuse("it is 2 on most certificates", "--k: %s", err)
	}
	dimensions := map[ucum.Dimension]string{}
	for _, text := range c.StringSlice("uncertainty") {
		s, u, err := parseStatement(text)
		if err != nil {
			return out, err
		}
		s.Coverage = coverage
		if other, twice := dimensions[u.Dimension()]; twice && other != s.Unit {
			return out, fault.Misuse("give the greatest of the ranges in use", "%s and %s both state an uncertainty of %s", other, s.Unit, u.Dimension().Name())
		}
		dimensions[u.Dimension()] = s.Unit
		out.Statements = append(out.Statements, s)
	}
	return out, nil
}

// parseStatement reads "MOhm: 2 + 3 %", "Cel: 0.5" or "V: 0.5 %".
func parseStatement(text string) (unit.Statement, ucum.Unit, error) {
	const hint = `write it as "MOhm: 2 + 3 %", "Cel: 0.5" or "V: 0.5 %"`
	code, parts, ok := strings.Cut(text, ":")
	if !ok {
		return unit.Statement{}, ucum.One, fault.Misuse(hint, "%q states no uncertainty", text)
	}
	s := unit.Statement{Unit: strings.TrimSpace(code)}
	u, err := ucum.Parse(s.Unit)
	if err != nil {
		return s, u, fault.Misuse(hint, "%s", err)
	}
	seen := map[bool]bool{}
	for _, part := range strings.Split(parts, "+") {
		number, relative := strings.CutSuffix(strings.TrimSpace(part), "%")
		value, err := decimal.Parse(strings.TrimSpace(number))
		if err != nil || seen[relative] {
			return s, u, fault.Misuse(hint, "%q states no uncertainty", text)
		}
		seen[relative] = true
		if relative {
			s.Percent = value
		} else {
			s.Absolute = value
		}
	}
	return s, u, nil
}

// calibrationRow is a calibration of --json.
type calibrationRow struct {
	ID            string           `json:"id"`
	Certificate   string           `json:"certificate"`
	Laboratory    string           `json:"laboratory"`
	Calibrated    string           `json:"calibrated_on"` // YYYY-MM-DD
	Due           string           `json:"due_on"`        // the last day that it holds
	Overdue       bool             `json:"overdue"`
	Note          string           `json:"note"`
	Voided        string           `json:"voided_because"` // empty if nobody voided it
	Uncertainties []uncertaintyRow `json:"uncertainties"`
}

// uncertaintyRow is an expanded uncertainty: absolute + percent of the reading.
type uncertaintyRow struct {
	Unit     string `json:"unit"`     // UCUM
	Absolute string `json:"absolute"` // in that unit
	Percent  string `json:"percent"`
	Coverage string `json:"coverage_factor"`
}

func (r uncertaintyRow) String() string {
	var parts []string
	if r.Absolute != "0" {
		parts = append(parts, r.Absolute+" "+r.Unit)
	}
	if r.Percent != "0" {
		percent := r.Percent + " %"
		if r.Absolute == "0" {
			percent += " of " + r.Unit
		}
		parts = append(parts, percent)
	}
	return "U = " + strings.Join(parts, " + ") + " (k = " + r.Coverage + ")"
}

func calibrationRows(tx *changelog.Tx, list []unit.Calibration, now time.Time) []calibrationRow {
	rows := []calibrationRow{}
	for i := range list {
		k := &list[i]
		row := calibrationRow{ID: tx.Name(k.ID), Certificate: k.Certificate, Laboratory: k.Laboratory, Calibrated: k.Calibrated, Due: k.Due,
			Overdue: k.Overdue(now), Note: k.Note, Uncertainties: []uncertaintyRow{}}
		if k.Voided != nil {
			row.Voided = k.Voided.Why
		}
		for _, s := range k.Statements {
			row.Uncertainties = append(row.Uncertainties, uncertaintyRow{s.Unit, s.Absolute.String(), s.Percent.String(), s.Coverage.String()})
		}
		rows = append(rows, row)
	}
	return rows
}

// dueOf says until when a unit is in calibration: a day, or empty where it has none.
func dueOf(list []unit.Calibration, now time.Time) (due string, overdue bool) {
	standing := unit.Standing(list)
	if standing == nil {
		return "", false
	}
	return standing.Due, standing.Overdue(now)
}

func dueText(due string, overdue bool) string {
	if overdue {
		return due + " OVERDUE"
	}
	return due
}

func (c *call) printCalibrations(list []calibrationRow, standing string) {
	if len(list) == 0 {
		return
	}
	c.printf("\nCalibrations\n")
	for _, k := range list {
		text := fmt.Sprintf("%s  %s to %s, certificate %s", k.ID, k.Calibrated, dueText(k.Due, k.Overdue && k.ID == standing), k.Certificate)
		if k.Laboratory != "" {
			text += " of " + k.Laboratory
		}
		switch {
		case k.Voided != "":
			text += ": VOIDED, " + k.Voided
		case k.ID != standing:
			text += ": replaced"
		}
		c.printBlock("  ", text)
		for _, u := range k.Uncertainties {
			c.printf("      %s\n", u)
		}
		if k.Note != "" {
			c.printBlock("      ", k.Note)
		}
	}
}

// calibrationLines tells of the voids of calibrations in a dossier; the calibrations
// themselves are events of the unit.
func (b *dossierBuilder) calibrationLines() error {
	list, err := unit.Calibrations(b.tx, b.unit.ID)
	if err != nil {
		return err
	}
	for i := range list {
		k := &list[i]
		if k.Voided == nil {
			continue
		}
		entry, err := b.tx.Entry(k.Voided.Dot)
		if err != nil {
			return err
		}
		line := dossierLine{Kind: entry.Kind.Name, Bad: true, Text: fmt.Sprintf("voided calibration %s, certificate %s: %s", b.tx.Name(k.ID), k.Certificate, k.Voided.Why)}
		if err := b.add(line, entry.Dot, entry.At, entry.Person, clock.Dot{}); err != nil {
			return err
		}
	}
	return nil
}

package main

import (
	"fmt"
	"time"

	"pulk/checklist/crew"
	"pulk/inventory/manifest"
	"pulk/inventory/stock"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// manifestRow is a manifest of --json.
type manifestRow struct {
	Code       string  `json:"code"`
	ID         string  `json:"id"`
	State      string  `json:"state"` // made, under way, part arrived, arrived, voided
	From       string  `json:"from"`
	To         string  `json:"to"`
	Needed     string  `json:"needed"` // YYYY-MM-DD, or empty
	Route      string  `json:"route"`
	Consignor  string  `json:"consignor"`
	Consignee  string  `json:"consignee"`
	Note       string  `json:"note"`
	Person     string  `json:"person"`
	Made       string  `json:"made"` // RFC 3339
	Sent       string  `json:"sent"` // YYYY-MM-DD, or empty
	Carrier    string  `json:"carrier"`
	VoidWhy    string  `json:"void_why"`
	Crates     int     `json:"crate_count"`
	Booked     int     `json:"booked_count"`
	GrossGrams int64   `json:"gross_grams"`
	Litres     float64 `json:"volume_litres"` // outside
}

// manifestDetail is pulk manifest show --json.
type manifestDetail struct {
	manifestRow
	Crates   []manifestCrate `json:"crates"`
	Scans    []scanRow       `json:"scans"`
	Findings []findingRow    `json:"differences"` // booked ones, and those of what was scanned and is not booked
	Missing  []crateLine     `json:"under_way"`   // what is still under way by the record, in no crate
}

// manifestCrate is a crate of a manifest, as it was listed.
type manifestCrate struct {
	Piece      int         `json:"piece"` // from 1
	Code       string      `json:"crate"`
	Name       string      `json:"name"`
	Outside    [3]int64    `json:"outside_mm"` // length, width, height
	TareGrams  int64       `json:"tare_grams"`
	GrossGrams int64       `json:"gross_grams"`
	Weighed    bool        `json:"weighed"` // on a scale; else reckoned
	Seal       string      `json:"seal"`
	Kept       string      `json:"kept_degc"` // as -20..5, or empty
	State      string      `json:"state"`     // listed, under way, scanned, taken in
	At         string      `json:"taken_in_at"`
	Booking    string      `json:"booking"` // its id, or empty
	Contents   []crateLine `json:"contents"`
}

// scanRow is something that was scanned.
type scanRow struct {
	ID        string    `json:"id"`
	Crate     string    `json:"crate"`
	Piece     crateLine `json:"piece"` // its part number is empty for the crate itself
	Condition string    `json:"condition"`
	Whole     bool      `json:"sealed"` // the crate stayed shut
	Seal      string    `json:"seal"`
	Lowest    *float64  `json:"lowest_degc"` // null where no logger was read
	Highest   *float64  `json:"highest_degc"`
	Note      string    `json:"note"`
	Person    string    `json:"person"`
	At        string    `json:"at"` // RFC 3339
}

// findingRow is a difference between list and arrival.
type findingRow struct {
	Crate  string    `json:"crate"`
	What   string    `json:"what"`  // short, over, damaged, wrong temperature
	Piece  crateLine `json:"piece"` // its part number is empty for the crate itself
	Note   string    `json:"note"`
	Booked bool      `json:"booked"`
	Became string    `json:"became"` // the movement or nonconformance; empty where none was needed, or it is not booked
}

// text is one difference in words.
func (r findingRow) text() string {
	text := "the crate itself: " + r.What
	if r.Piece.PartNumber != "" {
		text = fmt.Sprintf("%s: %d %s of %s", r.What, r.Piece.Quantity, r.Piece.UnitOfIssue, r.Piece.PartNumber)
		if r.Piece.Lot != "" {
			text += " lot " + r.Piece.Lot
		}
		if r.Piece.Serial != "" {
			text = r.What + ": " + r.Piece.PartNumber + " " + r.Piece.Serial
		}
	}
	if r.Note != "" {
		text += ", " + r.Note
	}
	switch {
	case r.Became == "":
	case r.What == manifest.Short.String():
		text += "; left under way, " + r.Became
	case r.What == manifest.Over.String():
		text += "; counted in, " + r.Became
	default:
		text += "; nonconformance " + r.Became
	}
	return text
}

func findingRowOf(tx *changelog.Tx, h *manifest.Holds, crate string, f manifest.Finding) (findingRow, error) {
	row := findingRow{Crate: crate, What: f.What.String(), Note: f.Note}
	if !f.Became.IsZero() {
		row.Became = tx.Name(f.Became)
	}
	if f.Piece.IsCrate() {
		return row, nil
	}
	var err error
	row.Piece, err = crateLineOf(tx, h, manifest.Line{Item: f.Piece.Item, Lot: f.Piece.Lot, Unit: f.Piece.Unit, Quantity: f.Quantity})
	return row, err
}

func manifestRowOf(tx *changelog.Tx, m *manifest.Manifest) (manifestRow, error) {
	row := manifestRow{Code: m.Code, ID: tx.Name(m.ID), State: string(m.State()), Needed: m.Needed, Route: m.Route, Consignor: m.Consignor, Consignee: m.Consignee,
		Note: m.Note, Made: m.Made.Format(time.RFC3339), VoidWhy: m.VoidWhy, Crates: len(m.Crates), GrossGrams: m.GrossGrams(), Litres: m.Litres()}
	if m.Sent != nil {
		row.Sent, row.Carrier = m.Sent.Day, m.Sent.Carrier
	}
	for _, c := range m.Crates {
		if m.Booked(c.ID) != nil {
			row.Booked++
		}
	}
	var err error
	if row.From, err = stock.LocationLabel(tx, m.From); err != nil {
		return row, err
	}
	if row.To, err = stock.LocationLabel(tx, m.To); err != nil {
		return row, err
	}
	row.Person, err = crew.Label(tx, m.Person)
	return row, err
}

// manifestOf reads a manifest with all that is told of it.
func manifestOf(tx *changelog.Tx, code string) (*manifest.Manifest, manifestDetail, error) {
	m, err := manifest.Find(tx, code)
	if err != nil {
		return nil, manifestDetail{}, err
	}
	d := manifestDetail{Crates: []manifestCrate{}, Scans: []scanRow{}, Findings: []findingRow{}, Missing: []crateLine{}}
	if d.manifestRow, err = manifestRowOf(tx, m); err != nil {
		return nil, d, err
	}
	h, err := manifest.ReadHolds(tx)
	if err != nil {
		return nil, d, err
	}
	labels := map[clock.Dot]string{}
	for _, crate := range m.Crates {
		row, err := manifestCrateOf(tx, h, m, crate)
		if err != nil {
			return nil, d, err
		}
		labels[crate.ID] = row.Code
		d.Crates = append(d.Crates, row)
		found, booked := manifest.Findings(crate, m.Scans), false
		if b := m.Booked(crate.ID); b != nil {
			found, booked = b.Findings, true
		}
		for _, f := range found {
			row, err := findingRowOf(tx, h, labels[crate.ID], f)
			if err != nil {
				return nil, d, err
			}
			row.Booked = booked
			d.Findings = append(d.Findings, row)
		}
	}
	for _, s := range m.Scans {
		row, err := scanRowOf(tx, h, labels[s.Crate], s)
		if err != nil {
			return nil, d, err
		}
		d.Scans = append(d.Scans, row)
	}
	left, err := h.In(tx, &stock.Location{ID: m.Transit})
	if err != nil {
		return nil, d, err
	}
	for _, l := range left.Lines {
		row, err := crateLineOf(tx, h, l)
		if err != nil {
			return nil, d, err
		}
		d.Missing = append(d.Missing, row)
	}
	return m, d, nil
}

func manifestCrateOf(tx *changelog.Tx, h *manifest.Holds, m *manifest.Manifest, crate manifest.Crate) (manifestCrate, error) {
	row := manifestCrate{Piece: crate.Piece, Outside: crate.SidesMM, TareGrams: crate.TareGrams, GrossGrams: crate.GrossGrams, Weighed: crate.Weighed, Seal: crate.Seal,
		Kept: crate.Kept.String(), State: "listed", Contents: []crateLine{}}
	var err error
	if row.Code, err = stock.LocationLabel(tx, crate.ID); err != nil {
		return row, err
	}
	for _, l := range h.Places() {
		if l.ID == crate.ID {
			row.Name = l.Name
		}
	}
	for _, l := range crate.Lines {
		line, err := crateLineOf(tx, h, l)
		if err != nil {
			return row, err
		}
		row.Contents = append(row.Contents, line)
	}
	b := m.Booked(crate.ID)
	switch {
	case b != nil:
		row.State, row.Booking = "taken in", tx.Name(b.ID)
		row.At, err = stock.LocationLabel(tx, b.At)
	case manifest.Arrived(crate.ID, m.Scans):
		row.State = "scanned"
	case m.Sent != nil:
		row.State = "under way"
	}
	return row, err
}

func scanRowOf(tx *changelog.Tx, h *manifest.Holds, crate string, s manifest.Scan) (scanRow, error) {
	row := scanRow{ID: tx.Name(s.ID), Crate: crate, Condition: s.Condition.String(), Whole: s.Whole, Seal: s.Seal, Note: s.Note, At: s.At.Format(time.RFC3339)}
	if s.Logger.Told {
		low, high := s.Logger.Lowest.Float64(), s.Logger.Highest.Float64()
		row.Lowest, row.Highest = &low, &high
	}
	var err error
	if row.Person, err = crew.Label(tx, s.Person); err != nil || s.Piece.IsCrate() {
		return row, err
	}
	row.Piece, err = crateLineOf(tx, h, manifest.Line{Item: s.Piece.Item, Lot: s.Piece.Lot, Unit: s.Piece.Unit, Quantity: s.Quantity})
	return row, err
}

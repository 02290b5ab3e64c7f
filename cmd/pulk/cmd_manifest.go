package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/inventory/manifest"
	"pulk/inventory/stock"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func (e *env) manifestCommand() *cli.Command {
	why := &cli.StringFlag{Name: "why", Usage: "the `REASON`"}
	at := &cli.StringFlag{Name: "at", Usage: "the `LOCATION` where they are (else the one that they are sent to)"}
	note := &cli.StringFlag{Name: "note", Usage: "a `TEXT` to go with it"}
	return group("manifest", "send crates, and take them in at the far end", append([]*cli.Command{
		verb{path: "pulk manifest make", args: "CODE", minArgs: 1, maxArgs: 1, usage: "list crates that go together, as they are now", writes: true,
			about:    "Nothing moves before pulk manifest send. What is in a crate, its mass and its seal must not change in between.",
			examples: []string{"pulk manifest make M-27-1 --from home-store --to stn-store --crate CR-07 --crate CR-08 --needed 2027-01-20 --as piet"},
			flags: []cli.Flag{&cli.StringFlag{Name: "from", Usage: "the `LOCATION` where they are"}, &cli.StringFlag{Name: "to", Usage: "the `LOCATION` where they go"},
				&cli.StringSliceFlag{Name: "crate", Usage: "`CODE` of a crate; may be repeated. Without it: all that are there and packed"},
				&cli.StringFlag{Name: "needed", Usage: "on site by this `DATE`"}, &cli.StringFlag{Name: "route", Usage: "the way, a `TEXT`"},
				&cli.StringFlag{Name: "consignor", Usage: "who sends, `NAME and address`"}, &cli.StringFlag{Name: "consignee", Usage: "who receives, `NAME and address`"}, note},
			action: (*call).manifestMake}.command(e),
		verb{path: "pulk manifest list", usage: "the manifests that are not done", reads: true,
			flags: []cli.Flag{&cli.BoolFlag{Name: "all", Usage: "those that arrived or were voided too"}}, action: (*call).manifestList}.command(e),
		verb{path: "pulk manifest show", args: "MANIFEST", minArgs: 1, maxArgs: 1, usage: "one manifest: how far its crates are, and what differed", reads: true,
			flags: []cli.Flag{&cli.BoolFlag{Name: "contents", Usage: "what is in each crate too"}}, action: (*call).manifestShow}.command(e),
		verb{path: "pulk manifest send", args: "MANIFEST", minArgs: 1, maxArgs: 1, usage: "say that its crates left", writes: true,
			about:    "From here on they are under way: nothing in them counts as there, at either end.",
			examples: []string{`pulk manifest send M-27-1 --day 2026-11-20 --carrier "MV Fulmar, voyage 3" --as piet`},
			flags:    []cli.Flag{&cli.StringFlag{Name: "day", Usage: "`DATE` (else today)"}, &cli.StringFlag{Name: "carrier", Usage: "with whom, a `TEXT`"}, note}, action: (*call).manifestSend}.command(e),
		verb{path: "pulk manifest scan", args: "MANIFEST CODE", minArgs: 2, maxArgs: 2, usage: "record one thing that arrived: a crate, a unit, an item", writes: true,
			about: "A unit or an item is in a crate of the list. Nothing is booked before pulk manifest book.",
			examples: []string{"pulk manifest scan M-27-1 CR-07 --sealed 00417 --logger -18..2 --as tomas",
				`pulk manifest scan M-27-1 CON-011 --crate CR-08 --quantity 4 --damaged "pins bent" --as tomas`},
			flags: []cli.Flag{&cli.StringFlag{Name: "crate", Usage: "the `CRATE` that it is in"}, &cli.StringFlag{Name: "quantity", Usage: "`N`, in units of issue or boxes"},
				&cli.StringFlag{Name: "lot", Usage: "`LOT`, as on the piece"}, &cli.StringFlag{Name: "sealed", Usage: "the crate's seal is unbroken, its `NUMBER`: it stays shut and holds what is listed"},
				&cli.StringFlag{Name: "logger", Usage: "the lowest and highest temperature of its logger in °C, `LOW..HIGH`"},
				&cli.StringFlag{Name: "damaged", Usage: "it is damaged, in `WORDS`"}, &cli.StringFlag{Name: "temperature", Usage: "it was too warm or too cold, in `WORDS`"}},
			action: (*call).manifestScan}.command(e),
		verb{path: "pulk manifest receive", args: "MANIFEST", minArgs: 1, maxArgs: 1, usage: "scan crates and pieces one after the other", writes: true,
			about:    "A scanner acts as a keyboard: each line is on record at once. Lines, on a terminal or from a file:\n" + arrivalHelp,
			examples: []string{"pulk manifest receive M-27-1 --as tomas", "pulk manifest receive M-27-1 --as tomas < scans.txt"}, flags: []cli.Flag{at, note}, action: (*call).manifestReceive}.command(e),
		verb{path: "pulk manifest missing", args: "MANIFEST", minArgs: 1, maxArgs: 1, usage: "what was not scanned yet", action: func(c *call) error { return c.printMissing(c.Args().First()) }}.command(e),
		verb{path: "pulk manifest book", args: "MANIFEST [CRATE…]", minArgs: 1, maxArgs: -1, usage: "take crates in, by what was scanned", writes: true,
			about: "Without crates: all of which something was scanned. What is short stays under way, as a movement, until it is found (pulk stock move, pulk unit move) or written off; " +
				"what is over is counted in. What is damaged, or was at a wrong temperature, becomes a nonconformance, and is kept in quarantine until somebody decides.",
			examples: []string{"pulk manifest book M-27-1 --as tomas", "pulk manifest book M-27-1 CR-07 --at drill-hut --as tomas"}, flags: []cli.Flag{at, note}, action: (*call).manifestBook}.command(e),
		verb{path: "pulk manifest void", args: "MANIFEST|SCAN|WEIGHING|BOOKING", minArgs: 1, maxArgs: 1, usage: "take back a list whose crates have not left, or one entry", writes: true,
			about:    "With a booking, what it moved is moved back; its nonconformances stay until somebody decides about them. Nothing is erased.",
			examples: []string{`pulk manifest void M-27-1 --why "one crate more goes along" --as piet`}, flags: []cli.Flag{why}, action: (*call).manifestVoid}.command(e)},
		e.manifestPapersVerbs()...)...)
}

func (c *call) manifestMake() error {
	p := manifest.Plan{Code: c.Args().First(), Needed: c.String("needed"), Route: c.String("route"), Consignor: c.String("consignor"),
		Consignee: c.String("consignee"), Note: c.String("note")}
	for _, flag := range []string{"from", "to"} {
		if c.String(flag) == "" {
			return fault.Misuse("give both --from and --to", "say with --%s where the crates are, and where they go", flag)
		}
	}
	var said string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) (err error) {
		if p.From, err = stock.FindLocation(tx, c.String("from")); err != nil {
			return err
		}
		if p.To, err = stock.FindLocation(tx, c.String("to")); err != nil {
			return err
		}
		if p.Crates, err = c.cratesToGo(tx, p.From); err != nil {
			return err
		}
		m, err := manifest.Make(tx, p)
		if err != nil {
			return err
		}
		said = fmt.Sprintf("manifest %s: %s, %s gross, %.2f m³\n", m.Code, plural(len(m.Crates), "crate", "crates"), kgText(m.GrossGrams()), m.Litres()/1000)
		for i, crate := range m.Crates {
			if !crate.Weighed {
				said += fmt.Sprintf("note: %s was not put on a scale as it is packed now; its mass is reckoned\n", p.Crates[i].Code)
			}
		}
		said += fmt.Sprintf("next: pulk manifest show %[1]s --contents; when they left: pulk manifest send %[1]s", m.Code)
		return nil
	}, func() { c.printf("%s\n", said) })
}

// cratesToGo is the crates that are named, else all that stand at a place, or within it,
// and hold something.
func (c *call) cratesToGo(tx *changelog.Tx, from *stock.Location) ([]*stock.Location, error) {
	var list []*stock.Location
	for _, code := range c.StringSlice("crate") {
		l, err := stock.FindLocation(tx, code)
		if err != nil {
			return nil, err
		}
		list = append(list, l)
	}
	if len(list) > 0 {
		return list, nil
	}
	h, err := manifest.ReadHolds(tx)
	if err != nil {
		return nil, err
	}
	within := stock.Within(h.Places(), from.ID)
	for _, l := range h.Places() {
		held, err := h.In(tx, l)
		if err != nil {
			return nil, err
		}
		if l.IsCrate() && within[l.ID] && len(held.Lines) > 0 {
			list = append(list, l)
		}
	}
	if len(list) == 0 {
		return nil, fault.Hint("see: pulk crate list --at "+from.Code, "no packed crate is at %s", from.Code)
	}
	return list, nil
}

func (c *call) manifestSend() error {
	code := c.Args().First()
	return c.write(func(tx *changelog.Tx, _ *crew.Person) error {
		m, err := manifest.Find(tx, code)
		if err != nil {
			return err
		}
		return manifest.Send(tx, m, c.String("day"), c.String("carrier"), c.String("note"))
	}, func() { c.printf("%[1]s is under way\nat the far end: pulk manifest receive %[1]s\n", code) })
}

func (c *call) manifestVoid() error {
	var what string
	return c.write(func(tx *changelog.Tx, _ *crew.Person) (err error) {
		what, err = manifest.Void(tx, c.Args().First(), c.String("why"))
		return err
	}, func() { c.printf("%s (%s) is voided; it stays on record\n", c.Args().First(), what) })
}

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

func (c *call) manifestList() error {
	return c.view(func(tx *changelog.Tx) error {
		list, err := manifest.List(tx)
		if err != nil {
			return err
		}
		rows := []manifestRow{}
		t := newTable("manifest", "state", "from", "to", "needed", "sent", "crates", "taken in", "gross", "m³")
		for _, m := range list {
			row, err := manifestRowOf(tx, m)
			if err != nil {
				return err
			}
			if done := m.Voided || m.State() == manifest.Arrives; done && !c.Bool("all") {
				continue
			}
			rows = append(rows, row)
			t.add(row.Code, row.State, row.From, row.To, row.Needed, row.Sent, row.Crates, row.Booked, kgText(row.GrossGrams), fmt.Sprintf("%.2f", row.Litres/1000))
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No manifest is under way.")
		return nil
	})
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

func (c *call) manifestShow() error {
	return c.view(func(tx *changelog.Tx) error {
		_, d, err := manifestOf(tx, c.Args().First())
		if err != nil {
			return err
		}
		if c.asJSON() {
			return c.printJSON(d)
		}
		c.printManifest(d)
		return nil
	})
}

func (c *call) printManifest(d manifestDetail) {
	c.printf("manifest %s, %s\n  from %s to %s", d.Code, d.State, d.From, d.To)
	if d.Needed != "" {
		c.printf(", needed on site by %s", d.Needed)
	}
	c.printf("\n  %s, %s gross, %.2f m³\n", plural(len(d.Crates), "crate", "crates"), kgText(d.GrossGrams), d.Litres/1000)
	for _, told := range [][2]string{{"left", strings.TrimSuffix(d.Sent+" with "+d.Carrier, " with ")}, {"route", d.Route}, {"consignor", d.Consignor}, {"consignee", d.Consignee}, {"note", d.Note}, {"voided", d.VoidWhy}} {
		if told[1] != "" {
			c.printBlock("  ", told[0]+": "+told[1])
		}
	}
	t := newTable("piece", "crate", "outside mm", "gross", "seal", "kept °C", "lines", "state")
	for _, crate := range d.Crates {
		mass := kgText(crate.GrossGrams)
		if !crate.Weighed {
			mass = "about " + mass
		}
		state := crate.State
		if crate.At != "" {
			state += " at " + crate.At
		}
		t.add(crate.Piece, crate.Code, stock.SidesText(crate.Outside), mass, crate.Seal, crate.Kept, len(crate.Contents), state)
	}
	c.printf("\n")
	t.print(c.env, "Its crates are not here yet.")
	for _, crate := range d.Crates {
		if c.Bool("contents") {
			c.printf("\n%s (%s)\n", crate.Code, crate.Name)
			contentsTable(crate.Contents).print(c.env, "It is empty.")
		}
	}
	if len(d.Findings) > 0 {
		c.printf("\nWhat differs from the list:\n")
	}
	for _, f := range d.Findings {
		text := f.Crate + ", " + f.text()
		if !f.Booked {
			text += " (not booked yet)"
		}
		c.printBlock("  ", text)
	}
	if len(d.Missing) > 0 {
		c.printf("\nStill under way by the record, in no crate:\n")
		contentsTable(d.Missing).print(c.env, "")
	}
}

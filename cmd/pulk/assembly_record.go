package main

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"pulk/checklist/crew"
	"pulk/checklist/run"
	"pulk/inventory/assembly"
	"pulk/inventory/grid"
	"pulk/schema/kind"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func assemblyRecordVerb() verb {
	return verb{path: "pulk assembly record", args: "ASSEMBLY", minArgs: 1, maxArgs: 1, usage: "the as-built record, with every signature", reads: true,
		about: "The signatures are all that was signed, waivers too, in the runs on the assembly, of those that fitted something into it, and of those that recorded its serial; " +
			"each with whether it holds, the digest of its evidence and the fingerprint of the key. Columns: docs/assembly-plan.md.",
		examples: []string{"pulk assembly record STG-07", "pulk assembly record STG-07 --csv string-7-slots.csv --signatures string-7-signatures.csv --pdf string-7.pdf"},
		flags: []cli.Flag{&cli.StringFlag{Name: "csv", Usage: "write the slots to `FILE`"}, &cli.StringFlag{Name: "signatures", Usage: "write the signatures, as CSV, to `FILE`"},
			&cli.StringFlag{Name: "pdf", Usage: "write both to `FILE`, to print"}, &cli.StringFlag{Name: "paper", Value: "a4", Usage: "`SIZE` of the paper: a4 or letter"}},
		action: (*call).assemblyRecord}
}

// assemblyRecord is pulk assembly record --json.
type assemblyRecord struct {
	assemblyDetail
	Runs       []string       `json:"runs"` // on the assembly, fitting into it, or recording it
	Signatures []signatureRow `json:"signatures"`
}

// signatureRow is a sign-off of a run.
type signatureRow struct {
	What        string `json:"what"` // sign-off, readiness review, waiver, waiver granted, on another revision
	Run         string `json:"run"`
	Procedure   string `json:"procedure"`
	Revision    string `json:"revision"`
	Step        string `json:"step"`
	Verdict     string `json:"verdict"` // go or stop; empty for a waiver
	Role        string `json:"role"`
	Person      string `json:"person"`
	Name        string `json:"name"`
	At          string `json:"at"`
	Standing    string `json:"standing"`        // whether it holds
	Evidence    string `json:"evidence_sha256"` // digest of the run's record as seen, hex
	Fingerprint string `json:"key_fingerprint"` // empty where the key is not here yet
	ID          string `json:"id"`
}

func (c *call) assemblyRecord() error {
	size, err := paperSize(c.String("paper"))
	if err != nil {
		return err
	}
	var record assemblyRecord
	err = c.view(func(tx *changelog.Tx) error {
		a, err := findAssembly(tx, c.Args().First())
		if err != nil {
			return err
		}
		record, err = assemblyRecordOf(tx, a)
		return err
	})
	if err != nil {
		return err
	}
	for _, file := range []struct {
		flag string
		make func() ([]byte, error)
	}{{"csv", record.slotsCSV}, {"signatures", record.signaturesCSV}, {"pdf", func() ([]byte, error) { return record.pdf(size, c.env.now()) }}} {
		path := c.String(file.flag)
		if path == "" {
			continue
		}
		content, err := file.make()
		if err == nil {
			err = carrier.WriteFile(path, content)
		}
		if err != nil {
			return err
		}
		fmt.Fprintf(c.env.stderr, "pulk: wrote %s\n", path)
	}
	if c.asJSON() {
		return c.printJSON(record)
	}
	c.printAssembly(record.assemblyDetail)
	c.printf("\nSignatures\n")
	for _, s := range record.Signatures {
		c.printBlock("  ", s.words())
		c.printBlock("      ", fmt.Sprintf("run %s, %s revision %s, step %s, entry %s", s.Run, s.Procedure, s.Revision, s.Step, s.ID))
		c.printf("      evidence %s\n      key      %s\n", s.Evidence, s.keyWords())
	}
	if len(record.Signatures) == 0 {
		c.printf("None: no run on it has been signed.\n")
	}
	return nil
}

// keyWords is the fingerprint of the key that signed, or that it is not known yet.
func (s *signatureRow) keyWords() string { return cmp.Or(s.Fingerprint, "not here yet") }

func assemblyRecordOf(tx *changelog.Tx, a *assembly.Assembly) (assemblyRecord, error) {
	detail, err := assemblyDetailOf(tx, a)
	record := assemblyRecord{assemblyDetail: detail, Runs: []string{}, Signatures: []signatureRow{}}
	if err != nil {
		return record, err
	}
	ids, err := runsOf(tx, a)
	if err != nil {
		return record, err
	}
	reader := run.NewReader(tx)
	for _, id := range ids {
		record.Runs = append(record.Runs, tx.Name(id))
		r, err := reader.Load(id)
		if err != nil {
			return record, err
		}
		rows, err := signaturesOf(tx, run.Evaluate(r))
		if err != nil {
			return record, err
		}
		record.Signatures = append(record.Signatures, rows...)
	}
	slices.SortStableFunc(record.Signatures, func(a, b signatureRow) int { return strings.Compare(a.At, b.At) })
	return record, nil
}

// runsOf lists the runs on an assembly, those that fitted something into it, and those
// that recorded its serial, as far as their start is here.
func runsOf(tx *changelog.Tx, a *assembly.Assembly) ([]clock.Dot, error) {
	on, err := run.OnTarget(tx, a.Unit.ID)
	if err != nil {
		return nil, err
	}
	recording, err := run.Recording(tx, a.Unit.ID)
	if err != nil {
		return nil, err
	}
	known := map[clock.Dot]bool{}
	for _, s := range slices.Concat(on, recording) {
		known[s.ID] = true
	}
	for _, p := range a.Positions {
		id := p.Built.Run
		if id.IsZero() || known[id] {
			continue
		}
		if here, err := tx.Here(id); err != nil {
			return nil, err
		} else if here {
			known[id] = true
		}
	}
	var ids []clock.Dot
	for id := range known {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, clock.Dot.Compare)
	return ids, nil
}

// signed is something that a person signed, and whether it holds.
type signed struct {
	what  string
	entry *run.Entry
	holds run.Standing
}

// signedAt lists all that was signed at a gate: sign-offs, and what was decided and waived
// in its readiness review.
func signedAt(gate *run.Gate) []signed {
	var list []signed
	for _, so := range gate.SignOffs {
		list = append(list, signed{"sign-off", so.Entry, so.Standing})
	}
	if gate.Review == nil {
		return list
	}
	for _, w := range gate.Review.Waivers {
		list = append(list, signed{"waiver", w.Entry, w.Standing})
		for _, g := range w.Grants {
			list = append(list, signed{"waiver granted", g.Entry, g.Standing})
		}
	}
	for _, so := range gate.Review.Decisions {
		list = append(list, signed{"readiness review", so.Entry, so.Standing})
	}
	return list
}

// signaturesOf returns all that was signed in a run: what fell, and what was signed at
// gates of an earlier revision, too.
func signaturesOf(tx *changelog.Tx, s *run.State) ([]signatureRow, error) {
	var list []signed
	listed := map[clock.Dot]bool{}
	for _, step := range s.Steps {
		if step.Gate != nil {
			list = append(list, signedAt(step.Gate)...)
		}
	}
	for _, given := range list {
		listed[given.entry.Dot] = true
	}
	for i := range s.Entries {
		if e := &s.Entries[i]; !e.Key.IsZero() && !listed[e.Dot] {
			list = append(list, signed{"on another revision", e, run.OtherRevision})
		}
	}
	var rows []signatureRow
	for _, given := range list {
		row, err := signatureRowOf(tx, s, given)
		if err != nil {
			return nil, err
		}
		rows = append(rows, row)
	}
	return rows, nil
}

func signatureRowOf(tx *changelog.Tx, s *run.State, given signed) (signatureRow, error) {
	e := given.entry
	row := signatureRow{ID: tx.Name(e.Dot), What: given.what, Run: tx.Name(s.Run), Step: s.StepName(e), Verdict: e.Verdict.String(), Role: e.Role,
		At: *jsonTime(e.At.Time()), Standing: string(given.holds), Evidence: hex.EncodeToString(e.Digest), Revision: s.RevisionOf(e)}
	if e.Kind == kind.ReviewWaive {
		row.Verdict = ""
	}
	if s.Procedure != nil {
		row.Procedure, row.Revision = s.Procedure.ID, cmp.Or(row.Revision, s.Procedure.Revision)
	}
	if key, known := s.Keys[e.Key]; known {
		row.Fingerprint = changelog.Fingerprint(key.Public)
	}
	var err error
	if row.Person, err = crew.Label(tx, e.Person); err != nil {
		return row, err
	}
	row.Name = row.Person
	person, err := crew.Get(tx, e.Person)
	if person != nil {
		row.Name = person.Name
	}
	return row, err
}

// words is what was signed, by whom and as what.
func (s *signatureRow) words() string {
	text := strings.TrimSpace(s.What + " " + s.Verdict)
	if s.Role != "" {
		return fmt.Sprintf("%s: %s as %s, %s (%s)", text, s.Name, s.Role, s.At, s.Standing)
	}
	return fmt.Sprintf("%s: %s, %s (%s)", text, s.Name, s.At, s.Standing)
}

// slotsCSV is the slots as CSV (RFC 4180), columns as in docs/assembly-plan.md.
func (r *assemblyRecord) slotsCSV() ([]byte, error) {
	rows := [][]string{{"assembly", "slot", "expected_part", "unit", "part_number", "state", "position_m", "position_built_m", "depth_m", "depth_built_m",
		"channel", "channel_built", "fitted_at", "fitted_by", "run", "not_as_planned", "note"}}
	for _, s := range r.SlotRows {
		part, state := "", ""
		if len(s.Units) > 0 {
			part, state = s.Units[0].Part, s.Units[0].State
		}
		rows = append(rows, []string{grid.AsText(r.Serial), grid.AsText(s.Slot), grid.AsText(s.Part), grid.AsText(s.serials()), grid.AsText(part), state,
			orEmpty(s.Position), orEmpty(s.PositionBuilt), orEmpty(s.Depth), orEmpty(s.DepthBuilt), grid.AsText(s.Channel), grid.AsText(s.ChannelBuilt),
			orEmpty(s.FittedAt), s.FittedBy, s.Run, grid.AsText(strings.Join(s.Deviations, "; ")), grid.AsText(s.Note)})
	}
	return writeCSV(rows)
}

// signaturesCSV is the signatures as CSV (RFC 4180).
func (r *assemblyRecord) signaturesCSV() ([]byte, error) {
	rows := [][]string{{"what", "run", "procedure", "revision", "step", "verdict", "role", "person", "name", "at", "standing", "evidence_sha256", "key_fingerprint", "id"}}
	for _, s := range r.Signatures {
		rows = append(rows, []string{s.What, s.Run, s.Procedure, grid.AsText(s.Revision), grid.AsText(s.Step), s.Verdict, s.Role, s.Person, grid.AsText(s.Name), s.At, s.Standing, s.Evidence, s.Fingerprint, s.ID})
	}
	return writeCSV(rows)
}

func writeCSV(rows [][]string) ([]byte, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	err := w.WriteAll(rows)
	return out.Bytes(), err
}

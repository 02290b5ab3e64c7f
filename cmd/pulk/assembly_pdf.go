package main

import (
	"bytes"
	"fmt"
	"time"

	"pulk/cmd/paper"
	"pulk/schema/fault"
)

func paperSize(name string) (paper.Size, error) {
	size, err := paper.SizeNamed(name)
	if err != nil {
		return size, fault.Misuse("a4 or letter", "%s", err)
	}
	return size, nil
}

// pdf is the as-built record to print: head, slots, what is not as planned, and every
// signature.
func (r *assemblyRecord) pdf(size paper.Size, made time.Time) ([]byte, error) {
	d := paper.New(paper.Options{Size: size, Made: made, Title: "As-built record of " + r.Serial, Head: "As-built record of " + r.Serial + ", " + r.Part,
		Right: "made " + made.UTC().Format("2006-01-02 15:04Z"), Foot: r.planWords()})
	d.Heading(1, "As-built record of "+r.Serial)
	d.Text(paper.Style{}, fmt.Sprintf("Part %s, at %s. %s.", r.Part, r.Place, r.planLine()))
	d.Text(paper.Style{}, fmt.Sprintf("Filled: %d of %d slots. Not as planned: %d.", r.Fitted, r.Slots, r.Deviating))
	d.Heading(2, "Slots")
	d.Table(r.slotTable())
	if r.Deviating > 0 {
		d.Heading(2, "Not as planned")
		for _, s := range r.SlotRows {
			for _, text := range s.Deviations {
				d.Text(paper.Style{}, "Slot "+s.Slot+": "+text)
			}
		}
	}
	d.Heading(2, "Signatures")
	if len(r.Signatures) == 0 {
		d.Text(paper.Style{}, "None: no run on it has been signed.")
	} else {
		d.Text(paper.Style{SizePoints: 9}, "Each was given with the person's own key over the record of the run as the signer had it. Evidence is the SHA-256 of that record, key the fingerprint of the key.")
	}
	for _, s := range r.Signatures {
		d.Keep(func() { s.print(d) })
	}
	var out bytes.Buffer
	err := d.Write(&out)
	return out.Bytes(), err
}

func (r *assemblyRecord) slotTable() paper.Table {
	t := paper.Table{SizePoints: 8, Columns: []paper.Column{{Head: "slot"}, {Head: "expected", Share: 1.4}, {Head: "unit", Share: 1.6}, {Head: "at m", Align: paper.Right}, {Head: "built m", Align: paper.Right},
		{Head: "depth m", Align: paper.Right}, {Head: "built m", Align: paper.Right}, {Head: "channel"}, {Head: "fitted", Share: 2.6}}}
	for _, s := range r.SlotRows {
		fitted := ""
		if s.FittedAt != nil {
			fitted = *s.FittedAt + " " + s.FittedBy + " " + s.Run
		}
		t.Rows = append(t.Rows, []string{s.Slot, s.Part, s.serials(), orEmpty(s.Position), orEmpty(s.PositionBuilt), orEmpty(s.Depth), orEmpty(s.DepthBuilt), s.channelText(), fitted})
	}
	return t
}

func (s *signatureRow) print(d *paper.Doc) {
	small := paper.Style{SizePoints: 8}
	d.Gap(2)
	d.Text(paper.Style{SizePoints: 10, Face: paper.Bold}, s.words())
	d.Indent(small, 4, fmt.Sprintf("run %s, %s revision %s, step %s, entry %s", s.Run, s.Procedure, s.Revision, s.Step, s.ID))
	d.Indent(paper.Style{SizePoints: 8, Face: paper.Mono}, 4, "evidence "+s.Evidence)
	d.Indent(paper.Style{SizePoints: 8, Face: paper.Mono}, 4, "key      "+s.keyWords())
}

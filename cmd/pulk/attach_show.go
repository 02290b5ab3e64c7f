package main

import (
	"fmt"
	"strings"

	"pulk/checklist/attach"
	"pulk/checklist/crew"
	"pulk/checklist/run"
	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// attachRow is an attachment of --json.
type attachRow struct {
	ID        string   `json:"id"`
	About     string   `json:"about"` // in words: run stn-4 step 120, unit SM3-0107, nonconformance stn-x3
	Name      string   `json:"name"`
	MediaType string   `json:"media_type"`
	SizeBytes int64    `json:"size_bytes"`
	SHA256    string   `json:"sha256"`
	Note      string   `json:"note"`
	AddedAt   string   `json:"added_at"`
	AddedBy   string   `json:"added_by"`
	Here      bool     `json:"content_here"`
	Wanted    []string `json:"wanted_by"` // codes of the sites that wait for the content
	Preview   string   `json:"preview"`   // here, not here yet, none
}

func attachRowOf(tx *changelog.Tx, a *attach.Attachment) (attachRow, error) {
	row := attachRow{ID: tx.Name(a.ID), Name: a.Name, MediaType: a.MediaType, SizeBytes: a.SizeBytes, SHA256: fmt.Sprintf("%x", a.Hash), Note: a.Note,
		AddedAt: *jsonTime(a.At.Time()), Here: a.Here, Wanted: append([]string{}, a.Wanted...), Preview: "none"}
	switch {
	case a.PreviewHere:
		row.Preview = "here"
	case a.PreviewBytes > 0:
		row.Preview = "not here yet"
	}
	var err error
	if row.AddedBy, err = crew.Label(tx, a.Person); err != nil {
		return row, err
	}
	row.About, err = aboutAttachment(tx, a)
	return row, err
}

// attachedOf returns the rows of what is attached to entities.
func attachedOf(tx *changelog.Tx, entities ...clock.Dot) ([]attachRow, error) {
	rows := []attachRow{}
	for _, entity := range entities {
		list, err := attach.Of(tx, entity)
		if err != nil {
			return nil, err
		}
		for _, a := range list {
			row, err := attachRowOf(tx, a)
			if err != nil {
				return nil, err
			}
			rows = append(rows, row)
		}
	}
	return rows, nil
}

// words says an attachment in a line, with how to get at it.
func (row attachRow) words() string {
	text := fmt.Sprintf("%s %s, %s%s: ", row.ID, row.Name, bytesText(row.SizeBytes), afterColon(row.Note))
	switch {
	case row.Here:
		text += "here (pulk attach save " + row.ID + " -o FILE)"
	case len(row.Wanted) > 0:
		text += "not here, wanted by " + strings.Join(row.Wanted, ", ")
	default:
		text += "not here (pulk attach want " + row.ID + ")"
	}
	switch row.Preview {
	case "here":
		text += "; preview: pulk attach show " + row.ID + " -o FILE"
	case "not here yet":
		text += "; its preview is not here yet"
	}
	return text
}

func aboutAttachment(tx *changelog.Tx, a *attach.Attachment) (string, error) {
	return aboutEntity(tx, a.Entity, a.Step)
}

func (c *call) attachList() error {
	return c.view(func(tx *changelog.Tx) error {
		list, err := attach.List(tx)
		if text := c.String("to"); text != "" && err == nil {
			var entity clock.Dot
			if entity, _, err = attachedTo(tx, text); err == nil {
				list, err = attach.Of(tx, entity)
			}
		}
		if err != nil {
			return err
		}
		rows := []attachRow{}
		t := newTable("attachment", "about", "name", "size", "preview", "content", "added")
		for _, a := range list {
			if c.Bool("wanted") && len(a.Wanted) == 0 {
				continue
			}
			row, err := attachRowOf(tx, a)
			if err != nil {
				return err
			}
			rows = append(rows, row)
			t.add(row.ID, row.About, row.Name, bytesText(row.SizeBytes), row.Preview, attachState(a), c.env.stampText(a.At)+" "+row.AddedBy)
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		t.print(c.env, "No attachments; they come with pulk attach add.")
		return nil
	})
}

func (c *call) attachShow() error {
	return c.view(func(tx *changelog.Tx) error {
		a, err := c.findAttachment(tx)
		if err != nil {
			return err
		}
		row, err := attachRowOf(tx, a)
		if err != nil {
			return err
		}
		if path := c.String("output"); path != "" {
			return c.savePreview(tx, a, path)
		}
		if c.asJSON() {
			return c.printJSON(row)
		}
		c.printf("attachment %s: %s\n  about:   %s\n", row.ID, row.Name, row.About)
		if row.Note != "" {
			c.printBlock("  note:    ", row.Note)
		}
		c.printf("  added:   %s by %s\n  content: %s, %s; %s\n  SHA-256: %s\n", c.env.stampText(a.At), row.AddedBy, row.MediaType, bytesText(row.SizeBytes), attachState(a), row.SHA256)
		preview := row.Preview
		if a.PreviewHere {
			preview += fmt.Sprintf(", %s; as a file: pulk attach show %s -o FILE", bytesText(int64(a.PreviewBytes)), row.ID)
		}
		c.printf("  preview: %s\n", preview)
		if !a.Here {
			c.printf("next: pulk attach want %s, and it comes in a later exchange\n", row.ID)
		}
		return nil
	})
}

func (c *call) savePreview(tx *changelog.Tx, a *attach.Attachment, path string) error {
	preview, err := attach.PreviewOf(tx, a)
	if err != nil {
		return err
	}
	if preview == nil {
		return fault.Hint("see: pulk attach show "+tx.Name(a.ID), "there is no preview of %s here", tx.Name(a.ID))
	}
	if err := carrier.WriteFile(path, preview); err != nil {
		return err
	}
	c.printf("%s: the preview of %s, %s\n", path, tx.Name(a.ID), bytesText(int64(len(preview))))
	return nil
}

// aboutWork returns the run, or the run and step after a colon, or the nonconformance
// that a text names; false where it names none of them.
func aboutWork(tx *changelog.Tx, text string) (entity clock.Dot, step int, found bool, err error) {
	name, stepID, _ := strings.Cut(text, ":") // no id holds a colon
	id, err := tx.ParseName(name)
	if err != nil {
		return id, attach.NoStep, false, nil // it may be a serial
	}
	if stepID == "" {
		is, err := run.IsWork(tx, id)
		return id, attach.NoStep, is, err
	}
	record, err := run.Load(tx, id)
	if err != nil {
		return id, attach.NoStep, false, noRun(err)
	}
	n, ok := run.Evaluate(record).StepByID(stepID)
	if !ok {
		return id, attach.NoStep, true, fault.Hint("see: pulk run show "+name, "run %s has no step %q", name, stepID)
	}
	n, err = run.StepOnWire(tx, id, n)
	return id, n, true, err
}

// aboutEntity says in words what an attachment or a question is about.
func aboutEntity(tx *changelog.Tx, entity clock.Dot, step int) (string, error) {
	text, err := tx.Describe(entity)
	if err != nil || step == attach.NoStep {
		return text, err
	}
	id, err := run.NewReader(tx).StepID(entity, step)
	return text + " step " + id, err
}

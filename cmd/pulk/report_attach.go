package main

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"slices"

	"pulk/checklist/ask"
	"pulk/checklist/attach"
	"pulk/schema/kind"
	"pulk/sync/changelog"
)

// previewsShown bounds how many previews a page holds, of at most 12 kB each: all of
// them together stay below 400 kB as text.
const previewsShown = 24

// addAttached tells what was attached that day, with previews as far as they are here.
func (b *dayBuilder) addAttached(entries []changelog.Recorded) error {
	shown := 0
	for _, e := range entries {
		if e.Kind != kind.AttachAdd {
			continue
		}
		a, err := attach.Find(b.tx, e.Dot)
		if err != nil {
			return err
		}
		day := dayAttached{}
		if day.attachRow, err = attachRowOf(b.tx, a); err != nil {
			return err
		}
		if shown < previewsShown {
			if day.preview, err = attach.PreviewOf(b.tx, a); err != nil {
				return err
			}
		}
		if day.preview != nil {
			shown++
		}
		b.report.Attached = append(b.report.Attached, day)
	}
	return nil
}

// Source returns the preview as an address that holds it; empty where there is none.
func (a dayAttached) Source() template.URL {
	if a.preview == nil {
		return ""
	}
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(a.preview))
}

// Says tells of an attachment in words; they also stand for its picture.
func (a dayAttached) Says() string {
	return fmt.Sprintf("%s, %s, about %s%s", a.Name, bytesText(a.SizeBytes), a.About, afterColon(a.Note))
}

// Where tells where the content and the preview are.
func (a dayAttached) Where() string {
	text := "the file is here"
	if !a.Here {
		text = "the file is not here: pulk attach want " + a.ID
	}
	if a.Preview == "not here yet" {
		text += "; its preview is not here yet"
	}
	return text
}

// addQuestions tells which questions are open, urgent ones first.
func (b *dayBuilder) addQuestions([]changelog.Recorded) error {
	list, err := ask.List(b.tx)
	if err != nil {
		return err
	}
	for _, q := range list {
		if len(q.Answers) > 0 {
			continue
		}
		row, err := askRowOf(b.tx, q)
		if err != nil {
			return err
		}
		b.report.Needs.Questions = append(b.report.Needs.Questions, row)
	}
	slices.SortStableFunc(b.report.Needs.Questions, func(x, y askRow) int {
		return map[bool]int{true: -1}[x.Urgent] - map[bool]int{true: -1}[y.Urgent]
	})
	return nil
}

// Mark is what stands before a question in the list of what needs someone.
func (row askRow) Mark() string {
	if row.Urgent {
		return "URGENT question"
	}
	return "question"
}

// Behind is what stands behind a question: what it is about, and who asked.
func (row askRow) Behind() string {
	text := "asked " + row.AskedAt + " by " + row.AskedBy
	if row.About != "" {
		text = "about " + row.About + "; " + text
	}
	return text
}

package paper_test

import (
	"bytes"
	"fmt"
	"time"

	"pulk/cmd/paper"
)

func Example() {
	code, err := paper.QR("stn-4")
	if err != nil {
		panic(err)
	}
	d := paper.New(paper.Options{
		Size: paper.A4, Made: time.Date(2026, 11, 26, 9, 0, 0, 0, time.UTC),
		Title: "Lowering", Head: "Lowering of a module", Right: "revision B", Code: &code,
	})
	d.Heading(1, "Lowering")
	d.Keep(func() {
		d.Caution("CAUTION", "The load may swing.")
		d.Tick(paper.Empty, paper.Style{}, "Take up the slack.")
		d.Fields(paper.TickIndent, paper.Field{Label: "tension", After: "kN"})
	})
	var file bytes.Buffer
	if err := d.Write(&file); err != nil {
		panic(err)
	}
	fmt.Printf("%s\n", file.Bytes()[:5])
	// Output: %PDF-
}

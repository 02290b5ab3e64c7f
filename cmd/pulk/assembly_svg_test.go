package main

import (
	"encoding/xml"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// drawnString is a string with a slot of each sort: filled, not as planned, empty.
func drawnString() *assemblyDetail {
	text := func(s string) *string { return &s }
	row := assemblyRow{Serial: "STG-07", Part: "STR-001", Plan: "stn-13", Title: "String 7", Datum: "collar of hole 6", LengthPlanned: text("2150"), Slots: 3, Fitted: 2, Deviating: 1}
	return &assemblyDetail{assemblyRow: row, SlotRows: []slotRow{
		{Slot: "1", Planned: true, Part: "SM3-001", Depth: text("2000"), DepthBuilt: text("1999.6"), Channel: "1", ChannelBuilt: "1", Units: []slotUnitRow{{"stn-9", "SM3-0101", "SM3-001", "released"}}},
		{Slot: "2", Planned: true, Part: "SM3-001", Depth: text("1983"), DepthBuilt: text("1982.4"), Channel: "2", ChannelBuilt: "7", Units: []slotUnitRow{{"stn-10", "SM3-0102", "SM3-001", "released"}},
			Deviations: []string{"it answers on channel 7, planned is 2"}},
		{Slot: "3", Planned: true, Part: "SM3-001", Depth: text("1966"), Channel: "3"},
	}}
}

// The picture in docs/assemblies.md is what is drawn, and is XML, whatever the texts
// are. It was looked at in a browser when it changed last.
func TestAssemblyPicture(t *testing.T) {
	odd := drawnString()
	odd.SlotRows[2].Channel, odd.Datum = "<3>", `collar & "rim"`
	decoder := xml.NewDecoder(strings.NewReader(odd.svg()))
	shapes := map[string]int{}
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("no XML: %v\n%s", err, odd.svg())
		}
		if start, ok := token.(xml.StartElement); ok {
			shapes[start.Name.Local]++
		}
	}
	if shapes["circle"] != 2 || shapes["rect"] != 2 { // the background is one
		t.Errorf("shapes %v; want a full and an empty circle, and a square", shapes)
	}
	drawing := drawnString().svg()
	path := filepath.Join("../../docs/pictures", "string-7.svg")
	want, err := os.ReadFile(path)
	if *update {
		err = os.WriteFile(path, []byte(drawing), 0o644)
	} else if string(want) != drawing {
		t.Errorf("%s is another drawing; look at the new one, then: go test ./cmd/pulk -run TestAssemblyPicture -update", path)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// The drawing keeps to its width, however long serials are, from the shallowest down,
// and stays in the order of the plan where a depth is missing.
func TestAssemblyDrawing(t *testing.T) {
	d := drawnString()
	d.SlotRows[0].Units[0].Serial = strings.Repeat("long", 30)
	for _, width := range []int{80, 100} {
		head, lines := d.draw(width)
		for _, line := range append(lines, head) {
			if n := len([]rune(line)); n > width {
				t.Errorf("width %d: a line has %d letters: %s", width, n, line)
			}
		}
	}
	_, lines := d.draw(100)
	if !strings.Contains(lines[1], "1966") || !strings.Contains(lines[len(lines)-1], "2000") {
		t.Errorf("not from the top down:\n%s", strings.Join(lines, "\n"))
	}
	d.SlotRows[2].Depth = nil
	if _, lines := d.draw(100); !strings.Contains(lines[0], "[x]") {
		t.Errorf("not in the order of the plan:\n%s", strings.Join(lines, "\n"))
	}
}

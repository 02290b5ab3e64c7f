// Package crate reads what is to be packed, and into what, from tables that people
// keep: boxes, and the crates, containers or aircraft positions that take them. The
// columns are those of docs/crate-csv.md.
package crate

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"pulk/inventory/grid"
	"pulk/inventory/packing"
)

// Bounds of the tables.
const (
	MaxBytes = 1 << 20
	MaxRows  = 5000
)

// Box is a row of a table of boxes.
type Box struct {
	packing.Box
	Name string
}

// Container is a row of a table of containers.
type Container struct {
	packing.Container
	Name string
}

var boxForm = grid.Form[Box]{BytesMax: MaxBytes, RowsMax: MaxRows, Keys: []grid.Key{{Column: 0, Noun: "box"}}, Columns: []grid.Column[Box]{
	grid.Of("box", func(b *Box, cell string) string { b.ID = cell; return grid.Needed(cell) }),
	grid.Of("name", func(b *Box, cell string) string { b.Name = cell; return "" }),
	grid.Of("count", func(b *Box, cell string) string { return whole(cell, 1, packing.MaxBoxes, 1, &b.Count) }),
	grid.Of("length_mm", func(b *Box, cell string) string { return whole(cell, 1, packing.MaxLength, 0, &b.Size[0]) }),
	grid.Of("width_mm", func(b *Box, cell string) string { return whole(cell, 1, packing.MaxLength, 0, &b.Size[1]) }),
	grid.Of("height_mm", func(b *Box, cell string) string { return whole(cell, 1, packing.MaxLength, 0, &b.Size[2]) }),
	grid.Of("mass_grams", func(b *Box, cell string) string { return whole(cell, 0, maxGrams, 0, &b.MassGrams) }),
	grid.Of("upright", func(b *Box, cell string) string { return upright(cell, &b.Upright) }),
	grid.Of("fragile", func(b *Box, cell string) string { return yes(cell, &b.Fragile) }),
	grid.Of("top_load_grams", func(b *Box, cell string) string { return wholeOrNone(cell, 1, maxGrams, &b.TopLoadGrams) }),
	grid.Of("floor_only", func(b *Box, cell string) string { return yes(cell, &b.FloorOnly) }),
	grid.Of("together", func(b *Box, cell string) string { b.Group = cell; return "" }),
	grid.Of("cold", func(b *Box, cell string) string { return yes(cell, &b.Cold) }),
	grid.Of("segregation", func(b *Box, cell string) string { b.Segregation = cell; return "" }),
}}

var containerForm = grid.Form[Container]{BytesMax: MaxBytes, RowsMax: MaxRows, Keys: []grid.Key{{Column: 0, Noun: "container"}}, Columns: []grid.Column[Container]{
	grid.Of("container", func(k *Container, cell string) string { k.ID = cell; return grid.Needed(cell) }),
	grid.Of("name", func(k *Container, cell string) string { k.Name = cell; return "" }),
	grid.Of("count", func(k *Container, cell string) string {
		if cell == "any" {
			k.Count = packing.AsMany
			return ""
		}
		if whole(cell, 1, packing.MaxBoxes, 1, &k.Count) != "" {
			return "a whole number from 1, any for as many as it takes, or nothing for 1"
		}
		return ""
	}),
	grid.Of("length_mm", func(k *Container, cell string) string { return whole(cell, 1, packing.MaxLength, 0, &k.Size[0]) }),
	grid.Of("width_mm", func(k *Container, cell string) string { return whole(cell, 1, packing.MaxLength, 0, &k.Size[1]) }),
	grid.Of("height_mm", func(k *Container, cell string) string { return whole(cell, 1, packing.MaxLength, 0, &k.Size[2]) }),
	grid.Of("opening", func(k *Container, cell string) string {
		switch cell {
		case "", "top":
			k.Opening = packing.OpenTop
		case "end":
			k.Opening = packing.OpenEnd
		default:
			return "top, end, or nothing for top"
		}
		return ""
	}),
	grid.Of("door_wide_mm", func(k *Container, cell string) string { return wholeOrNone(cell, 1, packing.MaxLength, &k.Door[0]) }),
	grid.Of("door_high_mm", func(k *Container, cell string) string { return wholeOrNone(cell, 1, packing.MaxLength, &k.Door[1]) }),
	grid.Of("mass_max_grams", func(k *Container, cell string) string { return wholeOrNone(cell, 1, maxGrams, &k.MassGramsMax) }),
	grid.Of("floor_kg_per_m2", func(k *Container, cell string) string { return wholeOrNone(cell, 1, 1_000_000, &k.FloorKgPerM2) }),
	grid.Of("cold", func(k *Container, cell string) string { return yes(cell, &k.Cold) }),
	grid.Of("centre_along", func(k *Container, cell string) string { return span(cell, &k.CentreMin[0], &k.CentreMax[0]) }),
	grid.Of("centre_across", func(k *Container, cell string) string { return span(cell, &k.CentreMin[1], &k.CentreMax[1]) }),
	grid.Of("centre_up", func(k *Container, cell string) string { return span(cell, &k.CentreMin[2], &k.CentreMax[2]) }),
}}

// maxGrams keeps sums of masses far from overflow: a million tonnes.
const maxGrams = 1_000_000_000_000

// ParseBoxes reads a table of boxes: either rows or what is wrong with every bad cell.
func ParseBoxes(source []byte) ([]*Box, []grid.CellError) { return boxForm.Parse(source) }

// ParseContainers reads a table of containers, likewise.
func ParseContainers(source []byte) ([]*Container, []grid.CellError) {
	return containerForm.Parse(source)
}

// whole reads a whole number; an empty cell stands for none, if that is not 0.
func whole[T int | int64](cell string, least, most, none T, into *T) string {
	if cell == "" && none != 0 {
		*into = none
		return ""
	}
	n, err := strconv.ParseInt(cell, 10, 64)
	if err != nil || n < int64(least) || n > int64(most) {
		return "a whole number from " + strconv.FormatInt(int64(least), 10) + " to " + strconv.FormatInt(int64(most), 10)
	}
	*into = T(n)
	return ""
}

// wholeOrNone reads a whole number or nothing, which stays 0: no limit.
func wholeOrNone[T int | int64](cell string, least, most T, into *T) string {
	if cell == "" {
		return ""
	}
	if expected := whole(cell, least, most, 0, into); expected != "" {
		return expected + ", or nothing"
	}
	return ""
}

func yes(cell string, into *bool) string {
	switch *into = cell == "yes"; cell {
	case "", "yes", "no":
		return ""
	}
	return "yes, no or nothing"
}

// upright reads which dimensions may stand upright: letters of L, W and H.
func upright(cell string, into *[3]bool) string {
	for _, r := range cell {
		at := strings.IndexRune("LWH", r)
		if at < 0 || into[at] {
			return "letters of L, W and H, or nothing for H"
		}
		into[at] = true
	}
	return ""
}

// span reads two shares, as 0.4-0.6.
func span(cell string, low, high *float64) string {
	if cell == "" {
		return ""
	}
	from, to, _ := strings.Cut(cell, "-")
	ends := []float64{math.NaN(), math.NaN()}
	for i, text := range []string{from, to} {
		if n, err := strconv.ParseFloat(text, 64); err == nil && n >= 0 && n <= 1 {
			ends[i] = n
		}
	}
	if slices.ContainsFunc(ends, math.IsNaN) || ends[0] >= ends[1] {
		return "two shares of the inner length, width or height, as 0.4-0.6, or nothing"
	}
	*low, *high = ends[0], ends[1]
	return ""
}

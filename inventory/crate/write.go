package crate

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
)

// WriteBoxes writes a table of boxes as ParseBoxes reads it. A code that a table program
// would take for a formula is written as it is: it is read back by this program.
func WriteBoxes(w io.Writer, boxes []Box) error {
	out := csv.NewWriter(w)
	out.Write(boxForm.Names())
	for _, b := range boxes {
		yes := map[bool]string{true: "yes"}
		out.Write([]string{b.ID, b.Name, strconv.Itoa(b.Count), strconv.Itoa(b.Size[0]), strconv.Itoa(b.Size[1]), strconv.Itoa(b.Size[2]), strconv.FormatInt(b.MassGrams, 10),
			uprightText(b.Upright), yes[b.Fragile], orEmpty(b.TopLoadGrams), yes[b.FloorOnly], b.Group, yes[b.Cold], b.Segregation})
	}
	out.Flush()
	return out.Error()
}

func uprightText(upright [3]bool) string {
	var text strings.Builder
	for i, letter := range "LWH" {
		if upright[i] {
			text.WriteRune(letter)
		}
	}
	return text.String()
}

func orEmpty(n int64) string {
	if n == 0 {
		return ""
	}
	return strconv.FormatInt(n, 10)
}

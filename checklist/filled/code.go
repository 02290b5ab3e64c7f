// Package filled reads what is written on filled-in sheets of paper: the code that is
// printed on each sheet, and the answers beside its steps.
//
// It is pure. What an answer means for a run is decided in package run.
package filled

import (
	"fmt"
	"strings"
)

// Code is what the QR code on a sheet says; docs/sheet-format.md is its form. It
// names no person.
type Code struct {
	Run                 string // such as "stn-4"; empty on the sheet of a procedure
	Procedure, Revision string
}

// magic begins each code, and tells its version.
const magic = "pulk1"

func (c Code) String() string {
	revision := c.Procedure + "@" + c.Revision
	if c.Run == "" {
		return strings.Join([]string{magic, "procedure", revision}, " ")
	}
	return strings.Join([]string{magic, "run", c.Run, revision}, " ")
}

// IsCode reports whether a text means to be the code of a sheet.
func IsCode(text string) bool { return strings.HasPrefix(text, magic) }

// ParseCode reads what String writes, and nothing else.
func ParseCode(text string) (Code, error) {
	words := strings.Split(text, " ")
	var c Code
	switch {
	case words[0] != magic:
		return c, fmt.Errorf("%.60q is not the code of a sheet: it begins with %s", text, magic)
	case len(words) == 3 && words[1] == "procedure":
	case len(words) == 4 && words[1] == "run":
		c.Run = words[2]
	default:
		return c, fmt.Errorf("%.60q is not whole: scan the sheet's code again", text)
	}
	procedure, revision, _ := strings.Cut(words[len(words)-1], "@")
	c.Procedure, c.Revision = procedure, revision
	if procedure == "" || revision == "" || len(words) == 4 && c.Run == "" || len(text) > 200 {
		return Code{}, fmt.Errorf("%.60q is not whole: scan the sheet's code again", text)
	}
	return c, nil
}

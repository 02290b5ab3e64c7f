package link

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"unicode"
)

// Bounds of a text of elements.
const (
	ElementsBytesMax = 4 << 20
	ElementsSetsMax  = 10000
	textFieldMax     = 120 // bytes of a name and the like
)

// Option changes how ParseElements reads.
type Option int

// AcceptWrongChecksums reads lines of a TLE whose last digit does not agree with
// the rest, or is not there. What was garbled on its way then gives wrong passes.
const AcceptWrongChecksums Option = 1

// ParseError says what of a text of elements cannot be meant, and where it stands.
type ParseError struct {
	Line     int    // from 1; 0 if the text has none
	Set      int    // which set of elements, from 1; 0 if not known
	Field    string // as the format names it; columns, for a TLE
	Found    string
	Expected string
}

func (e *ParseError) Error() string {
	var where []string
	if e.Line > 0 {
		where = append(where, fmt.Sprintf("line %d", e.Line))
	} else if e.Set > 0 {
		where = append(where, fmt.Sprintf("set %d", e.Set))
	}
	if e.Field != "" {
		where = append(where, e.Field)
	}
	found := e.Found
	if len(found) > 60 {
		found = strings.ToValidUTF8(found[:60], "") + "…"
	}
	return fmt.Sprintf("elements: %s: found %q, expected %s", strings.Join(where, ", "), found, e.Expected)
}

var kvnStart = regexp.MustCompile(`(?m)^[ \t]*CCSDS_OMM_VERS[ \t]*=`)

// ParseElements reads element sets from a text: TLE or 3LE, or CCSDS OMM (502.0-B)
// as KVN, XML or JSON; it tells by itself which of them it is. A text may hold
// several sets of one format. The error is a *ParseError, for the first mistake.
func ParseElements(data []byte, options ...Option) ([]Elements, error) {
	if len(data) > ElementsBytesMax {
		return nil, &ParseError{Field: "size", Found: fmt.Sprintf("%d bytes", len(data)),
			Expected: fmt.Sprintf("at most %d; keep the satellites that you use", ElementsBytesMax)}
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	start := bytes.TrimLeft(data, " \t\r\n")
	var sets []Elements
	var err error
	switch {
	case len(start) == 0:
		return nil, &ParseError{Field: "text", Found: "", Expected: "TLE, 3LE, or OMM as KVN, XML or JSON"}
	case start[0] == '<':
		sets, err = parseOMMXML(data)
	case start[0] == '{' || start[0] == '[':
		sets, err = parseOMMJSON(data)
	case kvnStart.Match(data):
		sets, err = parseOMMKVN(data)
	default:
		sets, err = parseTLE(data, options)
	}
	if err != nil {
		return nil, err
	}
	if len(sets) == 0 {
		return nil, &ParseError{Field: "text", Found: "no set of elements", Expected: "at least one"}
	}
	return sets, nil
}

// tooMany is the error of one set more than ElementsSetsMax.
func tooMany(line int) error {
	return &ParseError{Line: line, Field: "sets", Found: fmt.Sprintf("more than %d", ElementsSetsMax),
		Expected: "at most that many; keep the satellites that you use"}
}

// plainText says whether a name can be written in one line of a KVN.
func plainText(s string) bool {
	return len(s) <= textFieldMax && s == strings.TrimSpace(s) && strings.ToValidUTF8(s, "") == s &&
		strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) || r == '\ufeff' }) < 0
}

// known turns what a text says for "not known" into "".
func known(s string) string {
	if s = strings.TrimSpace(s); s == unknown {
		return ""
	}
	return s
}

// unknown stands in an OMM for a name that is not known.
const unknown = "UNKNOWN"

package procedure

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	yaml "go.yaml.in/yaml/v4"

	"pulk/schema/decimal"
)

// reader turns YAML nodes into values and gathers what is wrong on the way. It
// works on nodes, not on decoded values, because a node keeps the text of 010
// or 1.10 as written, and its place.
type reader struct {
	file     string
	problems []Problem
	failed   bool // an error is among the problems
	dropped  int  // problems over problemsMax, counted only
	at       int  // index of the step being read
	stored   bool // the file was taken in before: its formulas are not tried again
	pending  []pending
}

// fields holds a mapping's values by key; a missing key gives nil.
type fields struct {
	node   *yaml.Node // the mapping
	keys   map[string]*yaml.Node
	values map[string]*yaml.Node
}

func (r *reader) report(severity Severity, at *yaml.Node, what, expected string) {
	if r.full() || len(r.problems) >= problemsMax && severity == Warning {
		r.dropped++
		return
	}
	r.failed = r.failed || severity == Error
	r.problems = append(r.problems, Problem{r.file, max(at.Line, 1), max(at.Column, 1), severity, what, expected})
}

// full reports that no more problems are kept. The first error is kept even
// behind too many warnings.
func (r *reader) full() bool { return len(r.problems) >= problemsMax && r.failed }

// suggest is nearest, but only while its answer can still reach a reader: over
// a file of nothing but mistakes it would take minutes.
func (r *reader) suggest(word string, candidates []string) (string, bool) {
	if r.full() {
		return "", false
	}
	return nearest(word, candidates)
}

func (r *reader) fail(at *yaml.Node, what, expected string) { r.report(Error, at, what, expected) }
func (r *reader) warn(at *yaml.Node, what, expected string) { r.report(Warning, at, what, expected) }

// describe names what a node is, for "found …" in messages.
func describe(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "a mapping"
	case yaml.SequenceNode:
		return "a list"
	case yaml.AliasNode:
		return "an alias"
	}
	if n.ShortTag() == "!!null" {
		return "nothing"
	}
	return quote(n.Value)
}

// quote shows text from the file in a message, cut to a bounded length.
func quote(text string) string {
	const runesMax = 40
	if utf8.RuneCountInString(text) > runesMax {
		text = string([]rune(text)[:runesMax]) + "…"
	}
	return strconv.Quote(text)
}

// mapping reads node as a mapping with the known keys; what names it. Unknown
// and repeated keys are reported. It returns false when node is no mapping.
func (r *reader) mapping(node *yaml.Node, what string, known ...string) (fields, bool) {
	f := fields{node, map[string]*yaml.Node{}, map[string]*yaml.Node{}}
	if node.Kind != yaml.MappingNode {
		r.fail(node, fmt.Sprintf("%s is %s", what, describe(node)), "a mapping with the keys "+strings.Join(known, ", "))
		return f, false
	}
	for i := 0; i+1 < len(node.Content); i += 2 {
		key, value := node.Content[i], node.Content[i+1]
		switch {
		case key.Kind != yaml.ScalarNode:
			r.fail(key, fmt.Sprintf("a key of %s is %s", what, describe(key)), "one of "+strings.Join(known, ", "))
		case f.keys[key.Value] != nil:
			r.fail(key, fmt.Sprintf("%s has %q twice", what, key.Value), fmt.Sprintf("it once; the first is on line %d", f.keys[key.Value].Line))
		case !slices.Contains(known, key.Value):
			r.fail(key, fmt.Sprintf("%s has no key %s", what, quote(key.Value)), r.expectedKey(key.Value, known))
		default:
			f.keys[key.Value], f.values[key.Value] = key, value
		}
	}
	return f, true
}

func (r *reader) expectedKey(word string, known []string) string {
	if near, ok := r.suggest(word, known); ok {
		return fmt.Sprintf("%q perhaps; the keys are %s", near, strings.Join(known, ", "))
	}
	return "one of " + strings.Join(known, ", ")
}

// required returns the value of key, or reports that what lacks it.
func (r *reader) required(f fields, what, key, expected string) *yaml.Node {
	value := f.values[key]
	if value == nil {
		r.fail(f.node, fmt.Sprintf("%s has no %q", what, key), expected)
	}
	return value
}

// list reads node as a list of at most itemsMax items; a nil node is an empty one.
func (r *reader) list(node *yaml.Node, what string, itemsMax int) []*yaml.Node {
	if node == nil {
		return nil
	}
	if node.Kind != yaml.SequenceNode {
		r.fail(node, fmt.Sprintf("%s is %s", what, describe(node)), "a list, one item a line, each after a dash")
		return nil
	}
	if len(node.Content) > itemsMax {
		r.fail(node, fmt.Sprintf("%s has %d items", what, len(node.Content)), fmt.Sprintf("at most %d", itemsMax))
		return nil
	}
	return node.Content
}

// scalar reads node as one piece of text that isn't empty; it reports the rest.
func (r *reader) scalar(node *yaml.Node, what, expected string) (string, bool) {
	if node == nil {
		return "", false
	}
	if node.Kind != yaml.ScalarNode || node.ShortTag() == "!!null" {
		r.fail(node, fmt.Sprintf("%s is %s", what, describe(node)), expected)
		return "", false
	}
	text := strings.TrimSpace(node.Value)
	if text == "" {
		r.fail(node, what+" is empty", expected)
		return "", false
	}
	return text, true
}

// text reads prose of at most runesMax characters. Line breaks are kept;
// other control characters are refused, since terminals obey them.
func (r *reader) text(node *yaml.Node, what string, runesMax int) string {
	expected := fmt.Sprintf("text of at most %d characters", runesMax)
	text, ok := r.scalar(node, what, expected)
	if !ok {
		return ""
	}
	if n := utf8.RuneCountInString(text); n > runesMax {
		r.fail(node, fmt.Sprintf("%s has %d characters", what, n), expected)
		return ""
	}
	if i := strings.IndexFunc(text, forbidden); i >= 0 {
		bad, _ := utf8.DecodeRuneInString(text[i:])
		r.fail(node, fmt.Sprintf("%s has the control character %U", what, bad), "text without control characters")
		return ""
	}
	r.warnUnquoted(node, what)
	return text
}

// forbidden reports characters that would move a terminal's cursor, change its
// colours or reverse the order of the text around them.
func forbidden(c rune) bool {
	switch {
	case c == '\n':
		return false
	case c < 0x20, c >= 0x7f && c <= 0x9f, c == 0xfeff:
		return true
	}
	return c >= 0x202a && c <= 0x202e || c >= 0x2066 && c <= 0x2069 || c == 0x2028 || c == 0x2029
}

// warnUnquoted asks for quotes where another YAML reader would see a number, a
// date or a truth value, and would change 1.10 into 1.1 or 010 into 8.
func (r *reader) warnUnquoted(node *yaml.Node, what string) {
	const quotedStyles = yaml.DoubleQuotedStyle | yaml.SingleQuotedStyle | yaml.LiteralStyle | yaml.FoldedStyle
	if node.Style&quotedStyles != 0 || node.ShortTag() == "!!str" {
		return
	}
	sort := "number"
	switch node.ShortTag() {
	case "!!bool":
		sort = "truth value"
	case "!!timestamp":
		sort = "date"
	}
	r.warn(node, fmt.Sprintf("%s %s is not quoted and reads as a %s in other tools", what, quote(node.Value), sort),
		fmt.Sprintf("quotes around it: %q", node.Value))
}

// code reads an identifier and checks it with valid.
func (r *reader) code(node *yaml.Node, what string, form codeForm) string {
	text, ok := r.scalar(node, what, form.expected)
	if !ok {
		return ""
	}
	if len(text) > form.bytesMax || !form.pattern.MatchString(text) {
		r.fail(node, fmt.Sprintf("%s is %s", what, quote(text)), form.expected)
		return ""
	}
	r.warnUnquoted(node, what)
	return text
}

// whole reads a plain whole number from least to greatest; 0 after a report.
func (r *reader) whole(node *yaml.Node, what string, least, greatest int64) int64 {
	expected := fmt.Sprintf("a whole number from %d to %d, without quotes", least, greatest)
	text, ok := r.scalar(node, what, expected)
	if !ok {
		return 0
	}
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || node.ShortTag() != "!!int" || strconv.FormatInt(n, 10) != text || n < least || n > greatest {
		r.fail(node, fmt.Sprintf("%s is %s", what, quote(text)), expected)
		return 0
	}
	return n
}

// decimal reads a plain decimal number and keeps its digits; nil after a report.
func (r *reader) decimal(node *yaml.Node, what string) *decimal.Decimal {
	const expected = "a decimal number such as -12.50, without quotes, exponent or unit"
	text, ok := r.scalar(node, what, expected)
	if !ok {
		return nil
	}
	tag := node.ShortTag()
	d, err := decimal.Parse(text)
	if err != nil || tag != "!!int" && tag != "!!float" {
		r.fail(node, fmt.Sprintf("%s is %s", what, quote(text)), expected)
		return nil
	}
	return &d
}

// truth reads true or false; a nil node is false.
func (r *reader) truth(node *yaml.Node, what string) bool {
	if node == nil {
		return false
	}
	if node.Kind != yaml.ScalarNode || node.ShortTag() != "!!bool" || node.Value != "true" && node.Value != "false" {
		r.fail(node, fmt.Sprintf("%s is %s", what, describe(node)), "true or false, without quotes")
		return false
	}
	return node.Value == "true"
}

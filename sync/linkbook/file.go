package linkbook

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	yaml "go.yaml.in/yaml/v4"
	"go.yaml.in/yaml/v4/plugin/loaderlimits"

	"pulk/sync/link"
)

// Bounds on what a file may hold, far above any real one.
const (
	FileBytesMax = 64 << 10
	depthMax     = 8 // nesting; the format needs 1
	problemsMax  = 100
	valueRunes   = 2000
	nameRunesMax = 80
)

// File is a link as a person wrote it: lines of "key: value" in YAML.
type File struct {
	Code, To, Name string
	Settings       map[string]string // by name; the others have their defaults
}

// Problem is one thing wrong with a link's file.
type Problem struct {
	File         string
	Line, Column int // from 1; the column counts characters, not bytes
	What         string
	Expected     string // what was expected in its place
}

// String is "file:line:column: error: what; expected …", as of procedure files.
func (p Problem) String() string {
	return fmt.Sprintf("%s:%d:%d: error: %s; expected %s", p.File, p.Line, p.Column, p.What, p.Expected)
}

// reader gathers what is wrong with a file. It works on nodes, which keep a value's
// text as it was written, and its place.
type reader struct {
	file     string
	problems []Problem
}

func (r *reader) fail(line, column int, what, expected string) {
	if len(r.problems) < problemsMax {
		r.problems = append(r.problems, Problem{r.file, max(line, 1), max(column, 1), what, expected})
	}
}

func (r *reader) failAt(n *yaml.Node, what, expected string) {
	r.fail(n.Line, n.Column, what, expected)
}

// ParseFile reads a link's file; name stands in the problems. With problems, which
// come in the order of the file, the file is nil.
func ParseFile(name string, src []byte) (*File, []Problem) {
	r := &reader{file: name}
	f := r.parse(src)
	if len(r.problems) == 0 {
		return f, nil
	}
	slices.SortStableFunc(r.problems, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return nil, r.problems
}

func (r *reader) parse(src []byte) *File {
	root := r.load(src)
	if root == nil {
		return nil
	}
	if root.Kind != yaml.MappingNode {
		r.failAt(root, "the file is no mapping", `lines of "key: value", such as "code: evening-sat"`)
		return nil
	}
	f := &File{Settings: map[string]string{}}
	places := map[string]*yaml.Node{} // of values
	for i := 0; i+1 < len(root.Content); i += 2 {
		r.pair(f, places, root.Content[i], root.Content[i+1])
	}
	for _, key := range []string{"code", "to"} {
		if places[key] == nil {
			r.failAt(root, fmt.Sprintf("the link has no %q", key), map[string]string{"code": "a short name for it", "to": "the code of the other site"}[key])
		}
	}
	if len(r.problems) > 0 {
		return nil
	}
	var wrong *link.SettingError
	if _, err := link.Describe(f.Settings); errors.As(err, &wrong) {
		at := root
		if places[wrong.Name] != nil {
			at = places[wrong.Name]
		}
		r.setting(at, wrong)
	}
	return f
}

// pair takes in one key and its value.
func (r *reader) pair(f *File, places map[string]*yaml.Node, key, value *yaml.Node) {
	name := key.Value
	texts := map[string]*string{"code": &f.Code, "to": &f.To, "name": &f.Name}
	switch {
	case key.Kind != yaml.ScalarNode || !plain(key) || texts[name] == nil && link.LookupSetting(name) == nil:
		r.failAt(key, fmt.Sprintf("there is no key %s", quote(name)), "one of "+strings.Join(keys(), ", "))
		return
	case places[name] != nil:
		r.failAt(key, fmt.Sprintf("%q is there twice", name), fmt.Sprintf("it once; the first is on line %d", places[name].Line))
		return
	}
	places[name] = value
	switch {
	case !plain(value):
		r.failAt(value, name+" has an alias, an anchor or a tag", "the value itself written out")
	case value.Kind != yaml.ScalarNode || value.ShortTag() == "!!null":
		r.failAt(value, name+" is not one value", r.expected(name))
	case utf8.RuneCountInString(value.Value) > valueRunes || strings.ContainsFunc(value.Value, func(c rune) bool { return c < 0x20 || c >= 0x7f && c < 0xa0 }):
		r.failAt(value, name+" is too long, or has a control character", r.expected(name))
	case name == "code" && !codeForm.MatchString(value.Value):
		r.failAt(value, "code is "+quote(value.Value), r.expected(name))
	case name == "name" && utf8.RuneCountInString(value.Value) > nameRunesMax:
		r.failAt(value, fmt.Sprintf("name has %d characters", utf8.RuneCountInString(value.Value)), r.expected(name))
	case texts[name] != nil:
		*texts[name] = value.Value
	default:
		var wrong *link.SettingError
		if errors.As(link.CheckSetting(name, value.Value), &wrong) {
			r.setting(value, wrong)
		}
		f.Settings[name] = value.Value
	}
}

// plain reports that a node stands for itself: no alias, anchor or tag.
func plain(n *yaml.Node) bool {
	return n.Kind != yaml.AliasNode && n.Anchor == "" && n.Style&yaml.TaggedStyle == 0
}

func (r *reader) setting(at *yaml.Node, wrong *link.SettingError) {
	what := fmt.Sprintf("%s is %s", wrong.Name, quote(wrong.Value))
	if wrong.Missing {
		what = fmt.Sprintf("the link has no %q", wrong.Name)
	}
	r.failAt(at, what, wrong.Expected)
}

func (r *reader) expected(name string) string {
	if s := link.LookupSetting(name); s != nil {
		return s.Expected
	}
	return map[string]string{
		"code": "2 to 24 small letters, digits and hyphens, a letter first", "to": "the code of the other site",
		"name": fmt.Sprintf("text of at most %d characters", nameRunesMax),
	}[name]
}

// keys returns all keys of the format.
func keys() []string {
	list := []string{"code", "to", "name"}
	for _, s := range link.Settings() {
		list = append(list, s.Name)
	}
	return list
}

// quote shows text from the file, cut to a bounded length.
func quote(text string) string {
	const runesMax = 40
	if runes := []rune(text); len(runes) > runesMax {
		text = string(runes[:runesMax]) + "…"
	}
	return strconv.Quote(text)
}

// load composes the one document of src and returns its root, or nil after saying
// why there is none.
func (r *reader) load(src []byte) *yaml.Node {
	switch {
	case len(src) > FileBytesMax:
		r.fail(1, 1, fmt.Sprintf("the file has %d bytes", len(src)), fmt.Sprintf("at most %d", FileBytesMax))
		return nil
	case !utf8.Valid(src):
		r.fail(1, 1, "the file is not UTF-8 text", "the file to be saved as UTF-8")
		return nil
	}
	loader, err := yaml.NewLoader(bytes.NewReader(src), yaml.WithPlugin(loaderlimits.New(loaderlimits.DepthValue(depthMax))))
	if err != nil {
		r.fail(1, 1, err.Error(), "a YAML file")
		return nil
	}
	var document, next yaml.Node
	err = loader.Load(&document)
	if errors.Is(err, io.EOF) || err == nil && len(document.Content) == 0 {
		r.fail(1, 1, "the file is empty", "a link with code, to, open, out_bits_per_second and back_bits_per_second")
		return nil
	}
	if err == nil {
		if err = loader.Load(&next); err == nil {
			r.failAt(&next, "a second document starts here", "one link in a file")
			return nil
		}
	}
	if !errors.Is(err, io.EOF) {
		r.syntax(err)
		return nil
	}
	return document.Content[0]
}

// syntax reports an error of the YAML reader at its place.
func (r *reader) syntax(err error) {
	line, column, what := 1, 1, err.Error()
	var load *yaml.LoadError
	if errors.As(err, &load) {
		line, column, what = load.Mark.Line, load.Mark.Column, load.Message
		if load.ContextMsg != "" {
			what += " " + load.ContextMsg
		}
	}
	r.fail(line, column, what, "YAML that can be read: look at indentation, colons and quotes up to here")
}

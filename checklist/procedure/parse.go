package procedure

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"unicode/utf8"

	yaml "go.yaml.in/yaml/v4"
	"go.yaml.in/yaml/v4/plugin/loaderlimits"
)

// Bounds on what a file may hold. They are far above any real procedure, so
// that whatever meets them is a mistake or an attack.
const (
	SourceBytesMax = 1 << 20
	StepsMax       = 1000
	depthMax       = 16     // nesting; the format needs 5
	marksMax       = 80_000 // places where a value may begin: a node takes some 300 bytes
	itemsMax       = 200
	problemsMax    = 200
)

// codeForm is the shape of one sort of identifier.
type codeForm struct {
	pattern  *regexp.Regexp
	bytesMax int
	expected string
}

var (
	wordPattern  = regexp.MustCompile(`^[A-Za-z0-9]+([._-][A-Za-z0-9]+)*$`)
	rolePattern  = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)
	inputPattern = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
	unitPattern  = regexp.MustCompile(`^[^\s\p{C}]+$`)

	procedureForm = codeForm{wordPattern, 48, `letters, digits and single - . _ between them, such as "borehole-lowering"`}
	revisionForm  = codeForm{wordPattern, 16, `letters, digits and single - . _ between them, such as "C" or "1.10"`}
	stepForm      = codeForm{wordPattern, 24, `letters, digits and single - . _ between them, such as "40" or "lower-3"`}
	partForm      = codeForm{wordPattern, 40, `a part number of the catalogue, such as "CON-014"`}
	slotForm      = codeForm{wordPattern, 40, `a slot of the assembly, such as "5"`}
	needForm      = codeForm{rolePattern, 24, `the code of a training or a medical clearance in lower case, such as "cold-weather"`}
	roleForm      = codeForm{rolePattern, 32, `a role's code in lower case, such as "drill-engineer"`}
	inputForm     = codeForm{inputPattern, 24, `a name of small letters, digits and _, such as "cable_length"`}
	unitForm      = codeForm{unitPattern, 24, `a UCUM unit code, such as "MOhm", "Cel" or "bar"`}
)

// Parse reads a procedure file; name stands in the problems' File. The problems
// come in the order of the file, errors and warnings together. With an error
// among them the procedure is nil; with warnings alone it is whole.
//
// It never panics, reads at most [SourceBytesMax] bytes, and refuses anchors,
// aliases, tags, repeated and unknown keys, and more than one document.
func Parse(name string, src []byte) (*Procedure, []Problem) {
	return (&reader{file: name}).read(src)
}

func (r *reader) read(src []byte) (*Procedure, []Problem) {
	p := r.parse(src)
	sortProblems(r.problems)
	if r.dropped > 0 {
		last := r.problems[len(r.problems)-1]
		last.What, last.Expected = fmt.Sprintf("%d more problems are not shown", r.dropped), "the ones above to be mended first"
		r.problems = append(r.problems, last)
	}
	if r.failed {
		return nil, r.problems
	}
	return p, r.problems
}

func (r *reader) parse(src []byte) *Procedure {
	root := r.load(src)
	if root == nil {
		return nil
	}
	f, ok := r.mapping(root, "the procedure", "id", "title", "revision", "hazards", "tools", "parts", "roles", "inputs", "steps")
	if !ok {
		return nil
	}
	const what = "the procedure"
	p := &Procedure{
		ID:       r.code(r.required(f, what, "id", procedureForm.expected), "the procedure's id", procedureForm),
		Title:    r.text(r.required(f, what, "title", "a title in words"), "the title", 120),
		Revision: r.code(r.required(f, what, "revision", revisionForm.expected), "the revision", revisionForm),
	}
	p.Hazards = r.hazards(r.required(f, what, "hazards", "a list of hazards; [] says that there are none"))
	p.Tools = r.texts(f.values["tools"], "tools", "a tool", 120)
	p.Parts = r.partUses(f.values["parts"], "parts")
	p.Roles = r.codes(f.values["roles"], "roles", "a role", roleForm)
	p.Inputs = r.inputs(f.values["inputs"])
	stepsNode := r.required(f, what, "steps", "a list of steps")
	nodes := r.list(stepsNode, "steps", StepsMax)
	if stepsNode != nil && stepsNode.Kind == yaml.SequenceNode && len(stepsNode.Content) == 0 {
		r.fail(stepsNode, "steps is empty", "at least one step")
	}
	sources := make([]fields, len(nodes))
	for i, node := range nodes {
		r.at = i
		step, source := r.step(node)
		p.Steps, sources[i] = append(p.Steps, step), source
	}
	r.check(p, f, sources)
	r.checkFormulas(p, f, sources)
	return p
}

// marks counts the bytes after which a YAML node may begin: no file has more nodes
// than that and one.
func marks(src []byte) int {
	n := 0
	for _, c := range src {
		switch c {
		case '\n', '\r', ',', ':', '[', '{', '-', '?':
			n++
		}
	}
	return n
}

// load composes the one document of src and returns its root, or nil after
// reporting why there is none.
func (r *reader) load(src []byte) *yaml.Node {
	top := &yaml.Node{Line: 1, Column: 1}
	if len(src) > SourceBytesMax {
		r.fail(top, fmt.Sprintf("the file has %d bytes", len(src)), fmt.Sprintf("at most %d", SourceBytesMax))
		return nil
	}
	if n := marks(src); n > marksMax {
		r.fail(top, fmt.Sprintf("the file has %d places where a value may begin", n), fmt.Sprintf("at most %d", marksMax))
		return nil
	}
	if at := invalidUTF8(src); at != nil {
		r.fail(at, "a byte here is not UTF-8 text", "the file to be saved as UTF-8")
		return nil
	}
	loader, err := yaml.NewLoader(bytes.NewReader(src), yaml.WithPlugin(loaderlimits.New(loaderlimits.DepthValue(depthMax))))
	if err != nil {
		r.fail(top, err.Error(), "a YAML file")
		return nil
	}
	var document yaml.Node
	switch err := loader.Load(&document); {
	case errors.Is(err, io.EOF) || err == nil && len(document.Content) == 0:
		r.fail(top, "the file is empty", "a procedure with id, title, revision, hazards and steps")
		return nil
	case err != nil:
		r.syntax(err)
		return nil
	}
	var next yaml.Node
	if err := loader.Load(&next); err == nil {
		r.fail(&next, "a second document starts here", "one procedure in a file")
		return nil
	} else if !errors.Is(err, io.EOF) {
		r.syntax(err)
		return nil
	}
	if root := document.Content[0]; r.plain(root) {
		return root
	}
	return nil
}

// syntax reports an error of the YAML reader at its place.
func (r *reader) syntax(err error) {
	at, what := &yaml.Node{Line: 1, Column: 1}, err.Error()
	var load *yaml.LoadError
	if errors.As(err, &load) {
		at.Line, at.Column, what = load.Mark.Line, load.Mark.Column, load.Message
		if load.ContextMsg != "" {
			what += " " + load.ContextMsg
		}
	}
	r.fail(at, what, "YAML that can be read: look at indentation, colons, brackets and quotes up to here")
}

// plain reports anchors, aliases, tags and merge keys anywhere under n: an
// alias can make a small file stand for a huge one, and a tag changes what a
// value is. Depth is bounded by the loader.
func (r *reader) plain(n *yaml.Node) bool {
	if r.full() {
		return false
	}
	ok := true
	refuse := func(what, expected string) {
		r.fail(n, what, expected)
		ok = false
	}
	switch {
	case n.Kind == yaml.AliasNode:
		refuse(fmt.Sprintf("%s is an alias", quote("*"+n.Value)), "the value itself written out")
		return false
	case n.Anchor != "":
		refuse(fmt.Sprintf("%s is an anchor", quote("&"+n.Anchor)), "no anchors: values are written out where they are used")
	case n.ShortTag() == "!!merge":
		refuse(`"<<" merges a mapping`, "the keys themselves written out")
	case n.Style&yaml.TaggedStyle != 0:
		refuse(fmt.Sprintf("the tag %s", quote(n.Tag)), "no tags: the format says what each value is")
	}
	for _, child := range n.Content {
		ok = r.plain(child) && ok
	}
	return ok
}

// invalidUTF8 returns the place of the first byte that is not UTF-8, or nil.
func invalidUTF8(src []byte) *yaml.Node {
	at := &yaml.Node{Line: 1, Column: 1}
	for len(src) > 0 {
		c, size := utf8.DecodeRune(src)
		if c == utf8.RuneError && size == 1 {
			return at
		}
		at.Column++
		if c == '\n' {
			at.Line, at.Column = at.Line+1, 1
		}
		src = src[size:]
	}
	return nil
}

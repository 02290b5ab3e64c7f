package formula

import (
	"fmt"
	"strings"
	"sync"

	"github.com/google/cel-go/common"
	"github.com/google/cel-go/common/ast"
	"github.com/google/cel-go/common/operators"
	"github.com/google/cel-go/common/types"
	"github.com/google/cel-go/parser"

	"pulk/checklist/ucum"
)

// node is a part of a formula: plain data, so that formulas can be compared.
type node struct {
	op     string // of the table below, or "name", "number", "text", "call"
	name   string // of an input or a function; the text itself
	number float64
	args   []*node
	offset int // in characters

	truth bool      // it is true or false, and has no unit
	unit  ucum.Unit // set by the checker
}

// operator is one of CEL's that formulas have.
type operator struct {
	sign string
	rank int // how strongly it binds
}

var operatorsByName = map[string]operator{
	operators.Conditional:   {"?:", 1},
	operators.LogicalOr:     {"||", 2},
	operators.LogicalAnd:    {"&&", 3},
	operators.Less:          {"<", 4},
	operators.LessEquals:    {"<=", 4},
	operators.Greater:       {">", 4},
	operators.GreaterEquals: {">=", 4},
	operators.Add:           {"+", 5},
	operators.Subtract:      {"-", 5},
	operators.Multiply:      {"*", 6},
	operators.Divide:        {"/", 6},
	operators.Negate:        {"neg", 7},
	operators.LogicalNot:    {"!", 7},
}

// celParser is made once, and only where a formula is read at all.
var celParser = sync.OnceValues(func() (*parser.Parser, error) {
	return parser.NewParser(parser.Macros(), parser.MaxRecursionDepth(depthMax), parser.ExpressionSizeCodePointLimit(TextRunesMax),
		parser.ErrorRecoveryLimit(4), parser.ErrorReportingLimit(1))
})

// parse reads a formula with the parser of CEL.
func parse(text string) (*node, error) {
	if strings.TrimSpace(text) == "" {
		return nil, &Error{0, "the formula is empty", "an expression such as depth * 1.02"}
	}
	reader, err := celParser()
	if err != nil {
		return nil, fmt.Errorf("the parser of formulas does not start: %w", err)
	}
	source := common.NewTextSource(text)
	tree, errs := reader.Parse(source)
	if list := errs.GetErrors(); len(list) > 0 {
		offset, _ := source.LocationOffset(list[0].Location)
		what, _, _ := strings.Cut(list[0].Message, ", expecting")
		what, _, _ = strings.Cut(what, " expecting")
		return nil, &Error{int(max(offset, 0)), strings.ToLower(what[:1]) + what[1:], fmt.Sprintf("a CEL expression of at most %d characters, nested at most %d deep", TextRunesMax, depthMax)}
	}
	t := translator{tree}
	return t.node(tree.Expr())
}

type translator struct{ tree *ast.AST }

func (t translator) offset(e ast.Expr) int {
	at, ok := t.tree.SourceInfo().GetOffsetRange(e.ID())
	if !ok {
		return 0
	}
	return int(at.Start)
}

const whatThereIs = "numbers, inputs, functions and the signs + - * / < <= > >= && || ! ?:"

func (t translator) node(e ast.Expr) (*node, error) {
	n := &node{offset: t.offset(e)}
	switch e.Kind() {
	case ast.LiteralKind:
		return n, n.literal(e)
	case ast.IdentKind:
		n.op, n.name = "name", e.AsIdent()
		return n, nil
	case ast.CallKind:
		return n, t.call(n, e.AsCall())
	}
	return nil, &Error{n.offset, "the formula has a list, a field or a macro", whatThereIs}
}

func (n *node) literal(e ast.Expr) error {
	switch value := e.AsLiteral().(type) {
	case types.Int:
		n.op, n.number = "number", float64(value)
	case types.Double:
		n.op, n.number = "number", float64(value)
	case types.String:
		n.op, n.name = "text", string(value)
	default:
		return &Error{n.offset, fmt.Sprintf("the formula has a %s", value.Type().TypeName()), whatThereIs}
	}
	return nil
}

func (t translator) call(n *node, call ast.CallExpr) error {
	args := call.Args()
	if call.IsMemberFunction() {
		return &Error{n.offset, fmt.Sprintf("%s is called on something", call.FunctionName()), fmt.Sprintf("%s(…)", call.FunctionName())}
	}
	n.op, n.name = "call", call.FunctionName()
	if o, ok := operatorsByName[n.name]; ok {
		n.op, n.name = o.sign, ""
	} else if strings.HasPrefix(n.name, "_") || strings.HasPrefix(n.name, "@") {
		return &Error{n.offset, "the formula uses " + strings.Trim(n.name, "_@"), whatThereIs}
	}
	for _, arg := range args {
		child, err := t.node(arg)
		if err != nil {
			return err
		}
		n.args = append(n.args, child)
	}
	return nil
}

func (n *node) rank() int {
	for _, o := range operatorsByName {
		if o.sign == n.op {
			return o.rank
		}
	}
	return 9
}

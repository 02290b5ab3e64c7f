package ucum

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
)

// Bounds on a code, far above what anybody writes.
const (
	codeBytesMax = 120
	exponentMax  = 30
	nestingMax   = 8
)

// Parse reads a UCUM code, case sensitive. An error says what is not understood.
func Parse(code string) (Unit, error) {
	p := parser{rest: code}
	switch {
	case code == "":
		return Unit{}, fmt.Errorf("a unit is empty; 1 is the unit of a pure number")
	case len(code) > codeBytesMax:
		return Unit{}, fmt.Errorf("a unit of %d characters; at most %d are read", len(code), codeBytesMax)
	}
	u, err := p.term(0)
	if err == nil && p.rest != "" {
		err = fmt.Errorf("%q is not expected", p.rest)
	}
	if err != nil {
		return Unit{}, fmt.Errorf("%q is no UCUM code: %w", code, err)
	}
	u.code = code
	return u, nil
}

type parser struct{ rest string }

// take cuts c off the front of the rest.
func (p *parser) take(c string) bool {
	rest, ok := strings.CutPrefix(p.rest, c)
	if ok {
		p.rest = rest
	}
	return ok
}

// term reads components with . and / between them, worked out from left to right; a
// first / divides 1.
func (p *parser) term(depth int) (Unit, error) {
	if depth > nestingMax {
		return Unit{}, fmt.Errorf("parentheses lie deeper than %d", nestingMax)
	}
	u, exponent := One, 1
	if p.take("/") {
		exponent = -1
	}
	first := exponent == 1
	for {
		next, err := p.component(depth)
		if err != nil {
			return Unit{}, err
		}
		if first && (p.rest == "" || p.rest[0] == ')') {
			return next, nil // the only component, which may be special
		}
		if u, err = u.times(next, exponent); err != nil {
			return Unit{}, err
		}
		first = false
		switch {
		case p.take("."):
			exponent = 1
		case p.take("/"):
			exponent = -1
		default:
			return u, nil
		}
	}
}

// component reads a unit with its exponent and annotation, a number, an annotation
// alone, or a term in parentheses.
func (p *parser) component(depth int) (Unit, error) {
	if p.take("(") {
		u, err := p.term(depth + 1)
		if err == nil && !p.take(")") {
			err = fmt.Errorf("a parenthesis is not closed")
		}
		return u, err
	}
	word := p.word()
	if word == "" {
		noted, err := p.annotation()
		if err == nil && !noted {
			err = fmt.Errorf("a unit is missing")
		}
		return One, err
	}
	u, err := simple(word)
	if err != nil {
		return Unit{}, err
	}
	_, err = p.annotation()
	return u, err
}

// word cuts off all up to the next operator, parenthesis or annotation. What stands
// in square brackets belongs to it.
func (p *parser) word() string {
	inside := false
	for i, c := range []byte(p.rest) {
		switch {
		case c == '[':
			inside = true
		case c == ']':
			inside = false
		case !inside && strings.IndexByte("./(){}", c) >= 0:
			word := p.rest[:i]
			p.rest = p.rest[i:]
			return word
		}
	}
	word := p.rest
	p.rest = ""
	return word
}

// annotation reads {text}, which changes nothing.
func (p *parser) annotation() (bool, error) {
	if !p.take("{") {
		return false, nil
	}
	text, rest, closed := strings.Cut(p.rest, "}")
	for _, c := range []byte(text) {
		closed = closed && c > 0x20 && c < 0x7f && c != '{'
	}
	if !closed {
		return false, fmt.Errorf("an annotation is not closed, or holds spaces or letters that are not ASCII")
	}
	p.rest = rest
	return true, nil
}

// simple reads a number, or a unit with or without prefix and exponent.
func simple(word string) (Unit, error) {
	if strings.Trim(word, "0123456789") == "" {
		n, ok := new(big.Rat).SetString(word)
		if !ok || n.Sign() == 0 {
			return Unit{}, fmt.Errorf("%s is no number above 0", word)
		}
		return Unit{code: word, factor: n}, nil
	}
	if u, ok := prefixed(word); ok {
		return u, nil // whose code ends in a digit, if such there is
	}
	end := len(strings.TrimRight(word, "0123456789"))
	if end > 0 && (word[end-1] == '-' || word[end-1] == '+') {
		end--
	}
	u, ok := prefixed(word[:end])
	switch {
	case !ok:
		return Unit{}, fmt.Errorf("%q is not known", word[:end])
	case u.Special():
		return Unit{}, &SpecialError{u.code}
	}
	n, err := strconv.Atoi(word[end:])
	if err != nil || n == 0 || n > exponentMax || n < -exponentMax {
		return Unit{}, fmt.Errorf("%q is no exponent from 1 to %d, with a minus or without", word[end:], exponentMax)
	}
	return One.times(u, n)
}

// prefixed returns the unit of the table with a code, or a metric one behind a prefix.
func prefixed(code string) (Unit, bool) {
	if u, _, ok := atom(code); ok {
		return u, true
	}
	for _, prefix := range prefixes {
		rest, ok := strings.CutPrefix(code, prefix.code)
		if !ok {
			continue
		}
		if u, metric, ok := atom(rest); ok && metric {
			scale := power(big.NewRat(10, 1), prefix.exponent)
			scale.Mul(scale, power(big.NewRat(2, 1), prefix.binary))
			u.code, u.factor = code, scale.Mul(scale, u.ratio())
			return u, true
		}
	}
	return Unit{}, false
}

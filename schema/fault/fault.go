// Package fault holds the errors that answer a person: what is wrong, where, and
// what to do next.
package fault

import (
	"fmt"
	"strings"
)

// Refused is the answer of a rule of the work: a shut gate, a missing role, a
// failed limit. The command did nothing.
type Refused struct {
	What    string
	Because []string // the reasons, each in words, where there are several
	Hint    string
}

func (r *Refused) Error() string {
	if len(r.Because) == 0 {
		return r.What
	}
	return r.What + ": " + strings.Join(r.Because, "; ")
}

// Refuse returns a *Refused.
func Refuse(hint, format string, args ...any) error {
	return RefuseBecause(nil, hint, format, args...)
}

// RefuseBecause returns a *Refused that has several reasons.
func RefuseBecause(reasons []string, hint, format string, args ...any) error {
	return &Refused{What: fmt.Sprintf(format, args...), Because: reasons, Hint: hint}
}

// Hinted is an error with what to do next.
type Hinted struct {
	Err  error
	Hint string
}

func (h *Hinted) Error() string { return h.Err.Error() }

func (h *Hinted) Unwrap() error { return h.Err }

// Hint returns an error with what to do next.
func Hint(hint, format string, args ...any) error {
	return &Hinted{Err: fmt.Errorf(format, args...), Hint: hint}
}

// Usage is wrong use of a command: what was typed cannot be meant.
type Usage struct {
	What string
	Hint string
}

func (u *Usage) Error() string { return u.What }

// Misuse returns a *Usage.
func Misuse(hint, format string, args ...any) error {
	return &Usage{What: fmt.Sprintf(format, args...), Hint: hint}
}

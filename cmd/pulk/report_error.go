package main

import (
	"errors"
	"fmt"
	"io/fs"

	"pulk/schema"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

// report prints an error, if any, with what to do next, and returns the exit code.
func (e *env) report(err error) int {
	if err == nil {
		return exitDone
	}
	var refused *fault.Refused
	var hinted *fault.Hinted
	var usage *fault.Usage
	var bundle *changelog.Refusal
	switch {
	case errors.As(err, &refused):
		e.refusal(refused)
		e.hint(refused.Hint)
		return exitRefused
	case errors.As(err, &usage):
		fmt.Fprintln(e.stderr, "pulk:", err)
		e.hint(usage.Hint)
		return exitUsage
	case errors.As(err, &bundle):
		fmt.Fprintln(e.stderr, "pulk:", err)
		e.hint("nothing was changed; " + bundle.Hint)
	case errors.As(err, &hinted):
		fmt.Fprintln(e.stderr, "pulk:", err)
		e.hint(hinted.Hint)
	default:
		fmt.Fprintln(e.stderr, "pulk:", err)
		e.hint(hintFor(err))
	}
	return exitFailed
}

// refusal prints what was refused, and each reason on lines of its own.
func (e *env) refusal(r *fault.Refused) {
	if whole := "pulk: refused: " + r.Error(); len(r.Because) < 2 && (len(r.Because) == 0 || len(whole) <= e.width()) {
		fmt.Fprintln(e.stderr, whole)
		return
	}
	fmt.Fprintln(e.stderr, "pulk: refused:", r.What)
	for _, reason := range r.Because {
		mark := "pulk:   - "
		for _, line := range wrap(reason, e.width()-len(mark)) {
			fmt.Fprintln(e.stderr, mark+line)
			mark = "pulk:     "
		}
	}
}

func (e *env) hint(text string) {
	if text != "" {
		fmt.Fprintln(e.stderr, "pulk: hint:", text)
	}
}

func hintFor(err error) string {
	switch {
	case errors.Is(err, schema.ErrNoStore):
		return "make one with: pulk init, or name yours with --store FILE"
	case errors.Is(err, schema.ErrExists):
		return "use it with --store, or choose another file"
	case errors.Is(err, schema.ErrNewer):
		return "use the newer pulk (compare: pulk version); nothing was changed"
	case errors.Is(err, changelog.ErrNotInitialised):
		return "its init was cut off: remove the file and run pulk init again"
	case schema.Full(err):
		return "the disk is full: nothing was changed; make room and try again"
	case errors.Is(err, fs.ErrNotExist):
		return "look whether the name is right; nothing was changed"
	}
	return ""
}

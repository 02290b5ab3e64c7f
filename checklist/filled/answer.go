package filled

import (
	"fmt"
	"strings"
	"time"

	"pulk/checklist/procedure"
)

// Answer is what stands at one step of a sheet.
type Answer struct {
	Blank       bool     // nothing: it was not done
	No          string   // a confirm step: what is seen instead
	Values      []string // readings, as written
	Text        string   // what was recorded
	From, Until When     // of a wait
	Verdict     string   // of a hand-written signature: "go" or "stop"

	text string
}

// String is the answer in one form, however it was typed.
func (a Answer) String() string { return a.text }

// ParseAnswer reads what was typed for a step:
//
//	do            done
//	confirm       yes, or no: WHAT IS SEEN
//	reading       numbers, a space between them
//	record        the serial or text
//	wait          06:40-07:05, of the given day
//	hold, witness go or stop
//
// and for each of them nothing or - where the step was not done. It does not judge.
func ParseAnswer(step *procedure.Step, typed string, day When) (Answer, error) {
	typed = strings.TrimSpace(typed)
	if typed == "" || typed == "-" {
		return Answer{Blank: true}, nil
	}
	first, rest, _ := strings.Cut(strings.ReplaceAll(typed, ":", " "), " ")
	first = strings.ToLower(first)
	bad := func(expected string) (Answer, error) {
		return Answer{}, fmt.Errorf("step %s is a %s step: %.60q is none of its answers, which are %s, or - where it was not done", step.ID, step.Kind, typed, expected)
	}
	switch step.Kind {
	case procedure.KindReading:
		values := strings.Fields(typed)
		return Answer{Values: values, text: strings.Join(values, " ")}, nil
	case procedure.KindRecord:
		return Answer{Text: typed, text: typed}, nil
	case procedure.KindWait:
		from, until, ok := waited(typed, day)
		if !ok {
			return bad("from when until when, like 06:40-07:05")
		}
		return Answer{From: from, Until: until, text: string(from) + " to " + string(until)}, nil
	case procedure.KindHold, procedure.KindWitness:
		if first != "go" && first != "stop" || rest != "" {
			return bad("go and stop")
		}
		return Answer{Verdict: first, text: first}, nil
	case procedure.KindConfirm:
		what := strings.TrimSpace(typed[len(typed)-len(rest):])
		switch {
		case (first == "yes" || first == "y") && rest == "":
			return Answer{text: "yes"}, nil
		case (first == "no" || first == "n") && what != "":
			return Answer{No: what, text: "no: " + what}, nil
		}
		return bad("yes, and no: WHAT IS SEEN")
	}
	if (first == "done" || first == "d") && rest == "" {
		return Answer{text: "done"}, nil
	}
	return bad("done")
}

// waited reads from when until when; what ends earlier than it began ended on the next
// day.
func waited(typed string, day When) (from, until When, ok bool) {
	a, b, found := strings.Cut(typed, "-")
	if !found || day == "" {
		return "", "", false
	}
	from, err := ParseWhen(a, day)
	if err != nil || len(from) == len(dayForm) {
		return "", "", false
	}
	if until, err = ParseWhen(b, from); err != nil || len(until) == len(dayForm) {
		return "", "", false
	}
	began, _ := from.Time()
	if ended, _ := until.Time(); ended.Before(began) {
		until = When(ended.Add(24 * time.Hour).Format(clockForm))
	}
	return from, until, true
}

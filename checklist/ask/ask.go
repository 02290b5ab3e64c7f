// Package ask carries questions between the crew and home: what one site needs to
// know, about a run, a unit, a nonconformance or nothing in particular, and what the
// other answers. An urgent question, and its answer, go ahead of all that waits.
package ask

import (
	"strings"

	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// NoStep is the step of a question about an entity as a whole.
const NoStep = -1

// Question is a question and what was answered. Its own text may not be here yet,
// where an answer overtook it.
type Question struct {
	ID     clock.Dot
	Here   bool
	About  clock.Dot // or none
	Step   int       // place in the run's revision, or NoStep
	Urgent bool
	Text   string
	At     clock.Stamp
	Person clock.Dot
	// Answers are in the order of their ids; none while it is open.
	Answers []Answer
}

// Answer is one answer to a question.
type Answer struct {
	ID     clock.Dot
	Text   string
	At     clock.Stamp
	Person clock.Dot
}

// Raise asks a question. An urgent one is expedited.
func Raise(tx *changelog.Tx, about clock.Dot, step int, urgent bool, text string) (clock.Dot, error) {
	if text = strings.TrimSpace(text); text == "" {
		return clock.Dot{}, fault.Misuse("say what you need to know", "a question needs a text")
	}
	flag := int64(0)
	if urgent {
		flag = 1
		tx.SetClass(clock.Expedited)
	}
	return tx.Add(change.New(kind.AskRaise, change.Ref(about), change.Num(int64(step+1)), change.Num(flag), change.Text(text))), nil
}

// Reply answers a question, urgently where the question is. More than one answer may
// be given.
func Reply(tx *changelog.Tx, id clock.Dot, text string) error {
	q, err := Find(tx, id)
	if err != nil {
		return err
	}
	if text = strings.TrimSpace(text); text == "" {
		return fault.Misuse("give it behind the question's id", "an answer needs a text")
	}
	if q.Urgent {
		tx.SetClass(clock.Expedited)
	}
	tx.Add(change.New(kind.AskAnswer, change.Ref(id), change.Text(text)))
	return nil
}

// Find returns one question by its id.
func Find(tx *changelog.Tx, id clock.Dot) (*Question, error) {
	list, err := questions(tx, []clock.Dot{id})
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, fault.Hint("see: pulk ask list --all", "there is no question %s here", tx.Name(id))
	}
	return list[0], nil
}

// List returns all questions, those of which only an answer is here too, in the order
// of their ids.
func List(tx *changelog.Tx) ([]*Question, error) {
	ids, err := all(tx)
	if err != nil {
		return nil, err
	}
	return questions(tx, ids)
}

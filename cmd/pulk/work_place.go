package main

import (
	"errors"
	"fmt"
	"strings"

	"pulk/checklist/crew"
	"pulk/checklist/run"
	"pulk/checklist/work"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// workPlace is where a run is carried out, at a terminal or on pages: it reads what
// is to be shown and carries out what is tapped, each in a transaction of its own.
type workPlace struct {
	*call
	log *changelog.Log
}

// Look returns what a person is shown of a run now.
func (w *workPlace) Look(name, person string) (scene *work.Scene, err error) {
	err = w.log.View(w.Context.Context, func(tx *changelog.Tx) error {
		me, err := crew.ByCode(tx, person)
		if err != nil {
			return err
		}
		id, err := tx.ParseName(name)
		if err != nil {
			return fault.Misuse("see: pulk run list", "%s", err)
		}
		record, err := run.Load(tx, id)
		if err != nil {
			return noRun(err)
		}
		if record.Procedure == nil {
			return fault.Hint("it comes with a bundle from the site that imported it", "the procedure of run %s is not here yet", tx.Name(id))
		}
		words, failed := wordsOf(tx)
		var heedFailed error
		words.Heeds = func(s *run.State, n int) []string {
			warnings, err := warningsFor(tx, s, n, me, w.env.now())
			heedFailed = errors.Join(heedFailed, err)
			return warnings
		}
		state := run.Evaluate(record)
		if words.Later, err = laterWords(tx, state); err != nil {
			return err
		}
		scene = work.Look(state, me, w.env.now(), words)
		return errors.Join(failed(), heedFailed)
	})
	return scene, err
}

// wordsOf returns the words of a transaction, and what went wrong with them.
func wordsOf(tx *changelog.Tx) (work.Words, func() error) {
	var failed error
	names := map[clock.Dot]string{}
	person := func(id clock.Dot) string {
		if _, known := names[id]; !known {
			name, err := crew.Label(tx, id)
			failed = errors.Join(failed, err)
			names[id] = name
		}
		return names[id]
	}
	return work.Words{Person: person, Name: tx.Name, Asks: stepAsksNow, Says: entryText}, func() error { return failed }
}

// CarryOut does what a person tapped, as one command, and returns what to say. A tap
// that was taken before is not done again: it gets the answer of then.
func (w *workPlace) CarryOut(name, person string, tap work.Tap, signer *run.Signer) (said string, err error) {
	var me *crew.Person
	err = w.log.View(w.Context.Context, func(tx *changelog.Tx) (err error) {
		me, err = crew.ByCode(tx, person)
		return err
	})
	if err != nil {
		return "", err
	}
	receipt, err := w.log.Write(w.Context.Context, changelog.Author{Person: me.ID, Now: w.env.now()}, func(tx *changelog.Tx) error {
		if tap.ID != "" {
			before, taken, err := work.Taken(tx, me.ID, tap.ID)
			if taken || err != nil {
				said = before
				return err
			}
		}
		doing, err := onRun(tx, me, name)
		if err != nil {
			return err
		}
		if said, err = act(tx, doing, tap, signer); err != nil || tap.ID == "" {
			return err
		}
		return work.Take(tx, me.ID, tap.ID, said)
	})
	if receipt.Renewed {
		said += "\nthis store is a copy or was restored: the site numbers its changes anew from here"
	}
	return said, err
}

// act carries out one act of a person on a run.
func act(tx *changelog.Tx, doing *run.Doing, tap work.Tap, signer *run.Signer) (said string, err error) {
	switch tap.Act {
	case work.Void:
		id, err := tx.ParseName(tap.Entry)
		if err != nil {
			return "", fault.Misuse("choose it from the list", "%s", err)
		}
		return voidEntry(tx, doing, id, strings.TrimSpace(tap.Text))
	case work.End:
		freed, err := endRun(tx, doing, false, "")
		if freed != "" {
			freed = "; " + freed
		}
		return "the run has ended" + freed, err
	case work.Note:
		n := run.NoStep
		if tap.Step != "" {
			if n, err = doing.Number(tap.Step); err != nil {
				return "", err
			}
		}
		return "noted", doing.Note(n, strings.TrimSpace(tap.Text))
	}
	n, err := doing.Number(tap.Step)
	if err != nil {
		return "", err
	}
	step := doing.Steps[n].Step
	if err := work.Permit(step, tap); err != nil {
		return "", err
	}
	if said, err = actAtStep(tx, doing, n, tap, signer); err != nil {
		return "", err
	}
	if note, late := tap.Late(tx.Author().Now); late {
		err = doing.Note(n, note)
	}
	return said, err
}

func actAtStep(tx *changelog.Tx, doing *run.Doing, n int, tap work.Tap, signer *run.Signer) (said string, err error) {
	text := strings.TrimSpace(tap.Text)
	switch tap.Act {
	case work.Go, work.Stop:
		if signer == nil {
			return "", fault.Refuse("give the passphrase", "a sign-off needs the signer's key")
		}
		verdict := run.Go
		if tap.Act == work.Stop {
			verdict = run.Stop
		}
		return fmt.Sprintf("step %s: signed %s", tap.Step, verdict), doing.Sign(n, verdict, *signer)
	case work.No:
		if text == "" {
			return "", fault.Misuse("say what is seen", "a no needs a description")
		}
		return check(tx, doing, n, nil, text)
	case work.Read:
		return check(tx, doing, n, strings.Fields(text), "")
	case work.Write:
		return check(tx, doing, n, []string{text}, "")
	case work.Over:
		if _, begun := doing.WaitEnds(n); !begun && !doing.Steps[n].Done {
			return "", fault.Refuse("start it first", "step %s: nobody has started the clock", tap.Step)
		}
	case work.Begin:
		if _, begun := doing.WaitEnds(n); begun && !doing.Steps[n].Done {
			return "", fault.Refuse("wait until its time is over", "step %s: the clock runs already", tap.Step)
		}
	}
	return check(tx, doing, n, nil, "")
}

// unlockFor opens a person's signing key. It takes a while by design and is not done
// in a transaction.
func (w *workPlace) unlockFor(person, passphrase string) (*run.Signer, error) {
	var key crew.Key
	var locked []byte
	err := w.log.View(w.Context.Context, func(tx *changelog.Tx) error {
		me, err := crew.ByCode(tx, person)
		if err != nil {
			return err
		}
		key, locked, err = secretOf(tx, me)
		return err
	})
	if err != nil {
		return nil, err
	}
	private, err := crew.Unlock(locked, passphrase)
	if err != nil {
		return nil, fault.Hint("nothing was signed; try again", "%w", err)
	}
	return &run.Signer{Key: key.ID, Sign: signWith(private)}, nil
}

// secretOf returns a person's key as this store keeps it.
func secretOf(tx *changelog.Tx, me *crew.Person) (crew.Key, []byte, error) {
	key, locked, found, err := crew.Secret(tx, me)
	if err == nil && !found {
		err = fault.Hint("make one with: pulk person key "+me.Code, "%s has no signing key in this store", me.Code)
	}
	return key, locked, err
}

// isAnswer reports whether an error is an answer to a person; else it is a failure
// of the program or the machine.
func isAnswer(err error) bool {
	var refused *fault.Refused
	var usage *fault.Usage
	var hinted *fault.Hinted
	return errors.As(err, &refused) || errors.As(err, &usage) || errors.As(err, &hinted)
}

// tellFault says in words what an answer says: what is wrong, the reasons, and what
// to do next.
func tellFault(err error) (what string, because []string, hint string) {
	var refused *fault.Refused
	var usage *fault.Usage
	var hinted *fault.Hinted
	switch {
	case errors.As(err, &refused):
		return refused.What, refused.Because, refused.Hint
	case errors.As(err, &usage):
		return usage.What, nil, usage.Hint
	case errors.As(err, &hinted):
		return hinted.Error(), nil, hinted.Hint
	}
	return err.Error(), nil, ""
}

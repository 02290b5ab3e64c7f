package work

import (
	"crypto/sha256"
	"encoding/hex"
	"strconv"
	"time"

	"pulk/checklist/procedure"
	"pulk/schema/fault"
)

// The names of acts. They travel between page and site, and stay.
const (
	Done  = "done"  // a do step
	Yes   = "yes"   // a confirm step
	No    = "no"    // takes what is seen instead
	Read  = "read"  // takes numbers
	Write = "write" // takes a text or a serial
	Begin = "begin" // starts the clock of a wait
	Over  = "over"  // checks a wait off
	Go    = "go"    // signs a hold or witness point
	Stop  = "stop"
	Note  = "note" // takes a text; at a step
	Void  = "void" // takes an entry and a reason
	End   = "end"  // ends a run that is finished
)

// What an act takes beside the tap.
const (
	TakesNumbers = "numbers"
	TakesText    = "text"
	TakesSerial  = "serial"
	TakesKey     = "key" // the unlocked key of who does it
)

// Act is something that can be done at a step or about a run.
type Act struct {
	Name  string `json:"name"`
	Key   string `json:"key"`   // on a keyboard, besides Enter for the first one of a step
	Label string `json:"label"` // on a button
	Takes string `json:"takes"` // empty for nothing
	Ask   string `json:"ask"`   // what is asked for where it takes something
	With  string `json:"with"`  // the instrument that numbers are taken with; empty where none is asked for
	Sure  string `json:"sure"`  // what is asked before it is done; empty for most
	// Live acts are done on what stands at this moment: a page that is cut off from
	// the site does not offer them.
	Live bool `json:"live"`
}

// Tap is one act of a person.
type Tap struct {
	// ID names the tap for ever: what comes again under it was done already. Empty
	// where nothing can come twice.
	ID    string `json:"id"`
	Step  string `json:"step"`
	Act   string `json:"act"`
	Text  string `json:"text"`  // what the act takes
	Entry string `json:"entry"` // what is voided
	Shown string `json:"shown"` // Step.Shown of what the person saw
	Read  bool   `json:"read"`  // the person has read the step's cautions
	AtMS  int64  `json:"at_ms"` // when it was tapped, as the page knows the site's time; 0 for just now
}

// lateAfter is how long after the tap an entry is said to be late.
const lateAfter = 2 * time.Minute

// TakenWith adds to numbers the serial of the instrument that they were taken with.
func TakenWith(numbers, serial string) string {
	if serial == "" {
		return numbers
	}
	return numbers + " with " + serial
}

// Late says in words that a tap was made some time before it came here; false where
// it was not. The entry itself has the time of when it is written.
func (t Tap) Late(now time.Time) (note string, late bool) {
	at := time.UnixMilli(t.AtMS)
	if t.AtMS == 0 || now.Sub(at) < lateAfter {
		return "", false
	}
	return "tapped at " + at.UTC().Format("2006-01-02 15:04Z") + " on a page that was cut off, and taken later", true
}

// stepActs lists what can be done at a step, what is done as a rule first. It
// does not say whether the run allows it now.
func stepActs(step *procedure.Step, waiting bool) []Act {
	var acts []Act
	switch step.Kind {
	case procedure.KindDo:
		acts = []Act{{Name: Done, Key: "d", Label: "Done"}}
	case procedure.KindConfirm:
		acts = []Act{{Name: Yes, Key: "y", Label: "Yes, it is so"}, {Name: No, Key: "n", Label: "No", Takes: TakesText, Ask: "what is seen instead"}}
	case procedure.KindReading:
		acts = []Act{{Name: Read, Key: "r", Label: "Enter", Takes: TakesNumbers, Ask: step.Reading.Quantity + ", in " + step.Reading.Unit}}
		if step.Reading.Instrument != nil {
			acts[0].With = step.Reading.Instrument.String()
		}
	case procedure.KindRecord:
		acts = []Act{{Name: Write, Key: "r", Label: "Record", Takes: TakesText, Ask: step.Record.Label}}
		if step.Record.What == procedure.RecordSerial {
			acts[0].Takes, acts[0].Ask = TakesSerial, "serial of the "+step.Record.Label
		}
	case procedure.KindWait:
		acts = []Act{{Name: Begin, Key: "b", Label: "Start the clock"}}
		if waiting {
			acts = []Act{{Name: Over, Key: "d", Label: "The time is over", Live: true}}
		}
	case procedure.KindHold, procedure.KindWitness:
		return []Act{
			{Name: Go, Key: "g", Label: "Sign go", Takes: TakesKey, Live: true, Sure: "Sign GO at " + string(step.Kind) + " point " + step.ID},
			{Name: Stop, Key: "s", Label: "Sign stop", Takes: TakesKey, Live: true, Sure: "Sign STOP at " + string(step.Kind) + " point " + step.ID},
		}
	}
	if step.Irreversible {
		for i := range acts {
			acts[i].Live = true
			if acts[i].Takes == "" {
				acts[i].Sure = "THIS CANNOT BE UNDONE: " + acts[i].Label + ", step " + step.ID
			}
		}
	}
	return acts
}

func runActs(s *Scene) []Act {
	if s.Ended {
		return []Act{}
	}
	acts := []Act{{Name: Note, Key: "t", Label: "Note", Takes: TakesText, Ask: "what is to be remembered"}}
	if len(s.Undo) > 0 {
		acts = append(acts, Act{Name: Void, Key: "u", Label: "Undo", Takes: TakesText, Ask: "why it is not to be relied on", Live: true})
	}
	if s.Finished() {
		acts = append(acts, Act{Name: End, Key: "e", Label: "End the run", Sure: "End the run: all steps are done", Live: true})
	}
	return acts
}

// Shown names what a step asks for and warns of.
func Shown(step *procedure.Step) string {
	parts := []string{step.ID, string(step.Kind), step.Text, strconv.FormatBool(step.Irreversible), strconv.Itoa(len(step.Cautions))}
	parts = append(parts, step.Cautions...)
	switch {
	case step.Reading != nil:
		parts = append(parts, step.Reading.Quantity, step.Reading.Unit, step.Reading.Limits.String())
		if step.Reading.Instrument != nil {
			parts = append(parts, step.Reading.Instrument.String())
		}
	case step.Record != nil:
		parts = append(parts, step.Record.What, step.Record.Part, step.Record.Label, step.Record.Slot)
	}
	return digest(parts...)
}

// digest names a list of texts, in a few characters: it is no secret and guards
// against mistakes only.
func digest(parts ...string) string {
	sum := sha256.New()
	for _, part := range parts {
		sum.Write([]byte(strconv.Itoa(len(part)) + " " + part))
	}
	return hex.EncodeToString(sum.Sum(nil)[:8])
}

// Permit refuses a tap that does not go with what was shown to the person: another
// step than they saw, a caution that they have not read, or an act that the step
// does not have. Whether the run allows it is asked when it is carried out.
func Permit(step *procedure.Step, tap Tap) error {
	if tap.Act == Note || tap.Act == Void || tap.Act == End {
		return nil
	}
	if tap.Shown != Shown(step) {
		return fault.Refuse("read it again as it is now", "step %s has changed since it was shown", step.ID)
	}
	if len(step.Cautions) > 0 && !tap.Read && tap.Act != Stop {
		return fault.Refuse("the caution stands before the step", "the cautions of step %s have not been read", step.ID)
	}
	for _, waiting := range []bool{false, true} {
		for _, act := range stepActs(step, waiting) {
			if act.Name == tap.Act {
				return nil
			}
		}
	}
	return fault.Misuse("look at the step again", "step %s is a %s step and knows no %q", step.ID, step.Kind, tap.Act)
}

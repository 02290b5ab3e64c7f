// Package procedure is the language of procedures: reading, checking and
// comparing the files that say how a job is done.
//
// Start at [Parse]. It takes the text of a YAML file and returns a [Procedure],
// or every [Problem] of the file at once, each with its line and column. The
// format is described for writers in docs/procedure-format.md. [Compare] tells
// two revisions apart in a reader's words; [Delta] and [Patch] carry a revised
// file over a thin link.
//
// Everything here is pure: no file is opened and no clock is read.
package procedure

import (
	"pulk/checklist/limit"
	"pulk/schema/decimal"
)

// Kind says what a step asks for.
type Kind string

// The kinds of step.
const (
	KindDo      Kind = "do"      // carry something out
	KindConfirm Kind = "confirm" // look, and say that it is so
	KindReading Kind = "reading" // measure a quantity and judge it against limits
	KindRecord  Kind = "record"  // write down a serial number or a text
	KindHold    Kind = "hold"    // nothing goes on until this is signed
	KindWitness Kind = "witness" // somebody else must be there, and signs
	KindWait    Kind = "wait"    // let a minimum time pass
)

// Kinds lists every kind, in the order of the format's document.
func Kinds() []Kind {
	return []Kind{KindDo, KindConfirm, KindReading, KindRecord, KindHold, KindWitness, KindWait}
}

// Procedure is one revision of one procedure. A Procedure that [Parse] returned
// keeps all the rules of the format.
type Procedure struct {
	ID, Title, Revision string
	Hazards             []Hazard
	Tools               []string
	Parts               []PartUse // all that the steps use, each part once
	Roles               []string  // codes of all roles that the steps name
	Inputs              []Input   // what formulas of limits are worked out from
	Steps               []Step    // a step's index is its number on the wire
}

// Hazard is a danger of the whole job, with what keeps people safe from it.
type Hazard struct {
	Name    string
	Caution string
}

// PartUse is a quantity of a part.
type PartUse struct {
	Part     string // part number in the catalogue
	Quantity int64  // in the item's unit of issue, at least 1
}

// Step is one thing to do. Exactly one of Reading, Record and Sign is set where
// the kind asks for it; the others are nil.
type Step struct {
	ID           string // unique in the procedure, compared exactly
	Kind         Kind
	Text         string
	Cautions     []string  // to be shown before Text
	Role         string    // who carries it out; "" means anyone on the run
	After        []string  // ids of earlier steps that must be done first
	Irreversible bool      // cannot be undone once done
	Outdoor      bool      // the weather must allow it to whoever does it
	Heavy        bool      // whoever does it must have had their rest after an arrival at height
	Needs        []string  // codes of trainings and medical clearances that whoever does or signs it has
	Uses         []PartUse // parts this step consumes or installs
	Reading      *Reading  // for KindReading
	Record       *Record   // for KindRecord
	Sign         *Sign     // for KindHold and KindWitness
	Review       *Review   // for KindHold: the readiness review that it needs, or nil
	WaitMinutes  int64     // for KindWait, at least 1; else 0
}

// Reading says what is measured.
type Reading struct {
	Quantity string // what is measured, in words
	Unit     string // UCUM code, such as "MOhm"; limits and values are in it
	Limits   limit.Limits
	Computed *Computed        // limits that follow from other values: see [Reading.LimitsAt]; else nil
	Example  *decimal.Decimal // a value as it may be, which formulas are tried on; or nil
	Repeat   int              // how many values are taken, at least 1; each is judged
	// Instrument is asked for where it is not nil: then only readings taken with one
	// that was in calibration count.
	Instrument *Instrument
}

// Instrument says what a reading is taken with.
type Instrument struct {
	Part string // the part number expected; "" means any
}

// String returns "an instrument in calibration" or "a TOL-004 in calibration".
func (i *Instrument) String() string {
	if i.Part == "" {
		return "an instrument in calibration"
	}
	return "a " + i.Part + " in calibration"
}

// The two values of Record.What.
const (
	RecordSerial = "serial"
	RecordText   = "text"
)

// Record says what is written down.
type Record struct {
	What  string // RecordSerial or RecordText
	Part  string // for a serial: the part number expected; "" means any
	Label string // what it is, for the record's reader: "module 3"
	Slot  string // for a serial: the slot of the run's target that the unit goes into; "" means none
}

// Sign says who signs.
type Sign struct {
	Role   string
	People int // how many different people, at least 1
}

// StepIndex returns the index of the step with that id, which is its number on
// the wire, and whether there is one.
func (p *Procedure) StepIndex(id string) (int, bool) {
	for i := range p.Steps {
		if p.Steps[i].ID == id {
			return i, true
		}
	}
	return 0, false
}

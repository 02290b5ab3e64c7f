// Package run carries procedures out: what was done, by whom, on what evidence,
// and whether a gate is open.
//
// The rules are pure: [Evaluate] takes a [Record], all that is known of one run,
// and says the state of every step and gate. It knows no store and no clock, so
// every site that has the same change-sets comes to the same answer. The
// functions that take a transaction ([Check], [Sign], …) load a record, ask the
// rules, and add the change.
package run

import (
	"crypto/ed25519"
	"slices"
	"time"

	"pulk/checklist/procedure"
	"pulk/checklist/review"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// Entry is one fact about a run.
type Entry struct {
	Dot    clock.Dot
	Hash   change.Hash // chain hash of its change-set: names the content
	At     clock.Stamp
	Person clock.Dot
	Ctx    clock.Context // what its author knew
	Kind   *kind.Kind
	Step   int // place in the run's revision, NoStep or Elsewhere

	Measured                // step.reading, and step.measure, which has its kind here
	Answer      int64       // step.check: 0 done or yes, 1 no
	Text        string      // record, note, why, nonconformance
	Ref         clock.Dot   // void: target; nc.raise: cause; nc.dispose: the nonconformance; review.waive: the waiver that is granted
	Awaited     bool        // void: its target is not here yet
	Unit        clock.Dot   // step.record, nc.raise
	Disposition Disposition // nc.dispose
	Verdict     Verdict     // step.sign, review.decide
	Role        string      // what is signed: in which role; none for who asks for a waiver
	Digest      []byte      // what is signed
	Key         clock.Dot   // what is signed
	Signature   []byte      // what is signed

	Line    review.Key     // review.check, review.answer, review.waive
	Outcome review.Outcome // review.check, review.answer
	Source  string         // review.check
	Until   time.Time      // review.check
	Risk    string         // review.waive; Text is its reason

	// Origin is where the entry stood in the revision that its author knew; nil in a run
	// that was never moved. Step is its place in the run's revision now.
	Origin *Origin

	Paper *Paper // how it stood on paper, if it was typed in from there; or nil
}

// NoStep is the step of an entry about the run as a whole.
const NoStep = -1

// Verdict is what a sign-off says.
type Verdict int64

// The verdicts; their numbers are on the wire.
const (
	Go   Verdict = 0
	Stop Verdict = 1
)

func (v Verdict) String() string {
	if v == Go {
		return "go"
	}
	return "stop"
}

// Disposition is what is to be done about a nonconformance (ISO 9000:2015, 3.12).
type Disposition int64

// The dispositions; their numbers are on the wire.
const (
	Rework   Disposition = 1
	Repair   Disposition = 2
	UseAsIs  Disposition = 3
	Scrapped Disposition = 4
)

var dispositionNames = map[Disposition]string{Rework: "rework", Repair: "repair", UseAsIs: "use-as-is", Scrapped: "scrap"}

func (d Disposition) String() string {
	if name, ok := dispositionNames[d]; ok {
		return name
	}
	return "unknown disposition"
}

// ParseDisposition reads what String writes.
func ParseDisposition(text string) (Disposition, bool) {
	for d, name := range dispositionNames {
		if name == text {
			return d, true
		}
	}
	return 0, false
}

// Record is all that a site knows of one run.
type Record struct {
	Run       clock.Dot
	Hash      change.Hash // of the change-set that started it
	Procedure *procedure.Procedure
	Revision  clock.Dot
	Target    clock.Dot // unit, or none
	Location  clock.Dot // or none
	Title     string
	Person    clock.Dot // who started it
	At        clock.Stamp
	Entries   []Entry // in the order of their dots
	// Withdrawals are those of the run's revision.
	Withdrawals []Withdrawal
	Started     clock.Dot // the revision that it was started on
	// Contested are moves to several revisions by people who had not heard of each other;
	// then Revision is the one before them. Nothing goes on until it is moved again.
	Contested []*Entry
	Texts     map[clock.Dot]*procedure.Procedure // what is here of the revisions that it was ever on
	Withdrawn map[clock.Dot][]Withdrawal         // the same
	FactsOn   map[clock.Dot]map[string]Facts     // Facts, by revision
	// Outside is what bears on a readiness review and is no entry of the run: what was
	// said of the units that go where it goes. Empty where no step asks for a review.
	Outside Outside
	// Recalls are the voids of calibrations that readings of the run carry.
	Recalls []Recall
	Facts   map[string]Facts                      // of target and place, by the name of the input
	Roles   map[clock.Dot]map[string]RoleStanding // by person and role
	Keys    map[clock.Dot]SigningKey              // by the change that made the key known
}

// Withdrawal says that a revision must not be used any more.
type Withdrawal struct {
	Dot clock.Dot
	Ctx clock.Context
	Why string
}

// RoleStanding is how a person stands to a role: every time that it was granted or
// withdrawn, as far as that is here.
type RoleStanding []RoleChange

// RoleChange grants a role, or withdraws it.
type RoleChange struct {
	Dot     clock.Dot
	Ctx     clock.Context
	Granted bool
}

// SigningKey is a person's public key.
type SigningKey struct {
	Person clock.Dot
	Public ed25519.PublicKey
}

// held reports whether a role entitled its holder to a sign-off with context ctx.
// Two things must be so. By what the signer knew the role was held: of the changes
// in ctx those that no other one in it had seen all grant it, and there is one. And
// no withdrawal crossed the sign-off. One that crossed it counts against it for
// good, whatever came later: as with a stop, it must then be signed again. So a
// later grant never makes an earlier sign-off hold.
func (s RoleStanding) held(ctx clock.Context) bool {
	granted := false
	for _, c := range s {
		switch {
		case !ctx.Has(c.Dot):
			if !c.Granted && !c.Ctx.Has(ctx.Of) {
				return false
			}
		case s.replaced(c.Dot, ctx):
		case !c.Granted:
			return false
		default:
			granted = true
		}
	}
	return granted
}

// replaced reports whether a change in ctx was seen by another one in it.
func (s RoleStanding) replaced(d clock.Dot, ctx clock.Context) bool {
	return slices.ContainsFunc(s, func(other RoleChange) bool { return ctx.Has(other.Dot) && other.Ctx.Has(d) })
}

// Package kitbook keeps kit plans as they were made, so that they travel to the other
// sites and can be held against each other, and against what the season then took.
//
// A kept plan is never edited: another one is kept beside it, under another name, or it
// is voided with a reason. What is compared is what the plans said when they were made.
package kitbook

import (
	"time"

	"pulk/inventory/kit"
	"pulk/sync/clock"
)

// Plan is a kept plan.
type Plan struct {
	ID         clock.Dot
	Name       string
	From       string // YYYY-MM-DD
	Until      string // YYYY-MM-DD, the delivery as planned
	Late       string // as 14=0.25, spaces between: days later, with probability
	At         clock.Dot
	Runs       string // NAME=COUNT, spaces between
	Confidence float64
	Caps       [3]float64 // grams, litres, cents; 0 for none
	OddsNow    float64    // that nothing that counts runs out, with nothing sent
	Odds       float64    // the same, as planned
	OddsBound  float64    // what no plan under these caps exceeds; negative where not known
	Note       string
	Lines      []Line
	Voided     *Void // it is not to be relied on, or nil

	Person clock.Dot // who made it
	Made   time.Time // when
}

// Void says that a plan is not to be relied on.
type Void struct {
	Dot clock.Dot
	Why string
}

// Line is one item of a kept plan.
type Line struct {
	Item          clock.Dot
	Basis         kit.Basis
	Class         kit.Class
	Installed     int64
	Needed        int64 // of the installed, that must work
	Pack          int64
	RatePerHour   float64
	FailuresKnown float64 // the rate is known as if from so many failures
	Expected      float64 // pieces asked for, in the mean
	There, Send   int64
	OddsNow       float64 // that what is there suffices; negative where not known
	Odds          float64 // that it does with what is sent
	MassGrams     int64   // of what is sent; 0 where not known
	Litres        float64
	Cents         int64
}

// Counts reports whether a line is in the odds that nothing runs out.
func (l *Line) Counts() bool {
	return l.Basis != kit.NoRate && l.Class != kit.Desirable && l.Odds >= 0
}

// Totals is what all lines of a plan come to.
type Totals struct {
	MassGrams int64
	Litres    float64
	Cents     int64
	Pieces    int64
}

// Totals adds up what is sent.
func (p *Plan) Totals() Totals {
	var t Totals
	for _, l := range p.Lines {
		t.MassGrams, t.Litres, t.Cents, t.Pieces = t.MassGrams+l.MassGrams, t.Litres+l.Litres, t.Cents+l.Cents, t.Pieces+l.Send
	}
	return t
}

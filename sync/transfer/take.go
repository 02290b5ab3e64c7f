package transfer

import (
	"context"
	"errors"

	"pulk/sync/bundle"
	"pulk/sync/changelog"
)

// Outcome tells what came of one parcel.
type Outcome struct {
	// Kind is what the parcel was, as it came.
	Kind Kind
	// Taken is the bundle that was in it and was taken.
	Taken *changelog.Taken
	// Attachment says what attachment was taken.
	Attachment string
	// Err is why the parcel was refused. Nothing of it was taken then.
	Err error
}

// errOther says that a parcel is no bundle, so that there is nothing to decode.
var errOther = errors.New("not a bundle")

// taking is one call of Take. arrived is written by the goroutine that reads ahead
// and read once the parcel has come through.
type taking struct {
	*Desk
	ctx     context.Context
	arrived []arrival
	said    func(i int, o Outcome) error
}

// arrival is a parcel that was read.
type arrival struct {
	kind    Kind
	content []byte // of what is no bundle
}

// Take takes n parcels in order. read returns the bytes of one; said is told the
// outcome of each, once what came is on disk, and its error ends the work. While
// one parcel is taken the next is read and decoded.
func (d *Desk) Take(ctx context.Context, n int, read func(i int) ([]byte, error), said func(i int, o Outcome) error) error {
	t := &taking{Desk: d, ctx: ctx, arrived: make([]arrival, n), said: said}
	open := func(i int) ([]byte, error) {
		parcel, err := read(i)
		if err != nil {
			return nil, err
		}
		return t.open(i, parcel)
	}
	return d.Log.TakeEach(ctx, n, open, bundle.DefaultLimits, d.Now, t.take)
}

// open returns the bundle in a parcel, and puts by what is none.
func (t *taking) open(i int, parcel []byte) ([]byte, error) {
	kind := KindOf(parcel)
	t.arrived[i].kind = kind
	if kind == Bundle {
		return parcel, nil
	}
	t.arrived[i].content = parcel
	return nil, errOther
}

// take does with parcel i what its kind asks for.
func (t *taking) take(i int, taken *changelog.Taken, err error) error {
	a := t.arrived[i]
	t.arrived[i].content = nil
	if !errors.Is(err, errOther) {
		return t.said(i, Outcome{Kind: a.kind, Taken: taken, Err: err})
	}
	return t.said(i, t.other(a))
}

func (t *taking) other(a arrival) Outcome {
	o := Outcome{Kind: a.kind}
	switch {
	case a.kind == Attachment && t.Attachment != nil:
		o.Attachment, o.Err = t.Attachment(t.ctx, a.content)
	default:
		o.Err = unknownParcel(a.content)
	}
	return o
}

func unknownParcel(parcel []byte) error {
	what := "it is empty"
	if len(parcel) > 0 {
		what = "it begins with " + hexOf(parcel[:min(len(parcel), 2)])
	}
	return &changelog.Refusal{What: "this is nothing that pulk sends: " + what, Hint: "see whether it is the right file; if it is, a newer pulk may know it"}
}

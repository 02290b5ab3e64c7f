package transfer

import (
	"context"
	"errors"
	"fmt"

	"pulk/sync/bundle"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/fragment"
	"pulk/sync/seal"
)

// Outcome tells what came of one parcel.
type Outcome struct {
	// Kind is what the parcel was, as it came.
	Kind Kind
	// Sealed tells that it was sealed for this site and opened.
	Sealed bool
	// Taken is the bundle that was in it and was taken.
	Taken *changelog.Taken
	// Attachment says what attachment was taken.
	Attachment string
	// Asked is what the parcel asks to be sent again; see [Desk.Again].
	Asked *fragment.Request
	// Set is, for a fragment, what is here of its parcel now.
	Set *Set
	// Again tells that this very fragment was here before, or its parcel taken.
	Again bool
	// Whole is what came of a parcel of which this fragment was the last that was
	// needed; nil where others are.
	Whole *Outcome
	// Err is why the parcel was refused. Nothing of it was taken then.
	Err error
}

// Fresh returns how many change-sets were new in the parcel, or in the one that it
// completed.
func (o *Outcome) Fresh() int {
	sets := 0
	if o.Taken != nil {
		sets, _ = o.Taken.Fresh()
	}
	if o.Whole != nil {
		sets += o.Whole.Fresh()
	}
	return sets
}

// errOther says that a parcel is no bundle, so that there is nothing to decode.
var errOther = errors.New("not a bundle")

// taking is one call of Take. arrived is written by the goroutine that reads ahead
// and read once the parcel has come through.
type taking struct {
	*Desk
	ctx     context.Context
	self    changelog.Identity
	sender  func(i int) clock.SiteID
	arrived []arrival
	said    func(i int, o Outcome) error
	// Fragments that are not on disk yet.
	held      []heldFragment
	heldBytes int
}

// arrival is a parcel that was read, and opened if it was sealed.
type arrival struct {
	kind     Kind
	sealed   bool
	content  []byte // of what is no bundle
	fragment *fragment.Fragment
}

// Take takes n parcels. read returns the bytes of one; said is told the outcome of
// each, once what came is on disk, and its error ends the work. While one parcel is
// taken the next is read and decoded. Bundles are taken in order; fragments go to
// the disk many at a time.
func (d *Desk) Take(ctx context.Context, n int, read func(i int) ([]byte, error), said func(i int, o Outcome) error) error {
	return d.takeFrom(ctx, n, read, func(int) clock.SiteID { return 0 }, said)
}

func (d *Desk) takeFrom(ctx context.Context, n int, read func(i int) ([]byte, error), sender func(i int) clock.SiteID, said func(i int, o Outcome) error) error {
	if d.grew == nil {
		d.grew = map[int64]bool{}
	}
	t := &taking{Desk: d, ctx: ctx, self: d.Log.Self(), sender: sender, arrived: make([]arrival, n), said: said}
	open := func(i int) ([]byte, error) {
		parcel, err := read(i)
		if err != nil {
			return nil, err
		}
		return t.open(i, parcel)
	}
	if err := d.Log.TakeEach(ctx, n, open, bundle.DefaultLimits, d.Now, t.take); err != nil {
		return err
	}
	return t.keepHeld()
}

// open returns the bundle in a parcel, and puts by what is none. It runs ahead of
// the taking.
func (t *taking) open(i int, parcel []byte) ([]byte, error) {
	a := &t.arrived[i]
	a.kind = KindOf(parcel)
	if a.kind == Fragment {
		var err error
		if a.fragment, err = fragment.Parse(parcel); err != nil {
			return nil, damaged(err)
		}
		return nil, errOther
	}
	content, sealed, err := unseal(t.self, parcel)
	if a.sealed = sealed; err != nil {
		return nil, err
	}
	if KindOf(content) == Bundle {
		return content, nil
	}
	a.content = content
	return nil, errOther
}

// unseal returns what is in a parcel if it is sealed, else the parcel.
func unseal(self changelog.Identity, parcel []byte) (content []byte, sealed bool, err error) {
	if KindOf(parcel) != Sealed {
		return parcel, false, nil
	}
	to, err := seal.Addressee(parcel)
	if err != nil {
		return nil, false, damaged(err)
	}
	if to != uint32(self.Site) {
		return nil, false, &changelog.Refusal{What: fmt.Sprintf("the parcel is sealed for site %08x, this is %s (%08x)", to, self.Code, uint32(self.Site)),
			Hint: "carry it to the site it is for; nobody else can read it"}
	}
	if content, err = seal.Open(parcel, self.Key); err != nil {
		return nil, false, damaged(err)
	}
	if inner := KindOf(content); inner == Sealed || inner == Fragment {
		return nil, true, unknownParcel(content)
	}
	return content, true, nil
}

func damaged(err error) error {
	return &changelog.Refusal{What: "the parcel cannot be read", Hint: "ask the sender for it again", Err: err}
}

// take does with parcel i what its kind asks for.
func (t *taking) take(i int, taken *changelog.Taken, err error) error {
	a := t.arrived[i]
	t.arrived[i] = arrival{}
	if !errors.Is(err, errOther) {
		return t.said(i, Outcome{Kind: a.kind, Sealed: a.sealed, Taken: taken, Err: err})
	}
	if a.fragment != nil {
		return t.hold(i, a.fragment)
	}
	o := t.other(a.content)
	o.Kind, o.Sealed = a.kind, a.sealed
	return t.said(i, o)
}

// other takes what is neither bundle nor fragment.
func (t *taking) other(content []byte) (o Outcome) {
	switch kind := KindOf(content); {
	case kind == Attachment && t.Attachment != nil:
		o.Attachment, o.Err = t.Attachment(t.ctx, content)
	case kind == Resend:
		request, err := fragment.ParseRequest(content)
		if err != nil {
			o.Err = damaged(err)
		} else {
			o.Asked = &request
		}
	default:
		o.Err = unknownParcel(content)
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

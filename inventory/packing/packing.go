// Package packing puts boxes into containers: by search over blocks of boxes, so
// that as much as possible is in and nothing breaks a rule of the load.
//
// Start at [Pack]. Everything here is pure: values in, values out, and nothing left to
// chance. Lengths are whole millimetres, masses whole grams. A container
// has its origin in the lower corner at the back on the left: x runs along its
// length towards the door, y across its width, z upwards.
package packing

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
)

// Limits of what is taken in: beyond them arithmetic or memory would not hold.
const (
	MaxLength = 1 << 19 // millimetres, of a container or a box
	MaxBoxes  = 20_000  // pieces in one call
	maxMass   = int64(1) << 40
)

// AsMany as a container's count says that there are as many as it takes.
const AsMany = -1

// Box is a kind of box and how many there are of it.
type Box struct {
	ID      string
	Size    [3]int  // length, width and height in mm, as it usually stands
	Upright [3]bool // which of the three may stand upright; none set: the height only
	Count   int

	MassGrams    int64  // of one
	Fragile      bool   // nothing may rest on it
	TopLoadGrams int64  // the most that may rest on one, all above it together; 0: no limit
	FloorOnly    bool   // not stackable: stands on the floor of the container
	Group        string // all boxes of a group go into the same container, or none of them; "" is no group
	Cold         bool   // goes only into a container that is kept cold
	Segregation  string // class for [Options].Apart, as of dangerous goods; "" keeps apart from nothing
}

// Opening is the side that a container is loaded through.
type Opening int

const (
	OpenEnd Opening = iota // the face at x = length, as of a freight container
	OpenTop                // the top, as of a crate
)

// Container is a kind of crate, container or aircraft position.
type Container struct {
	ID      string
	Size    [3]int // inner length, width and height in mm
	Count   int    // how many there are, or [AsMany]
	Cold    bool   // is kept cold
	Opening Opening
	// Door is the clear width and height of an end door (across y and z), or the
	// clear length and width of a hatch (along x and y), in mm; 0 is all of it. A
	// box passes as it will stand, without being turned.
	Door [2]int

	MassGramsMax int64 // of the load; 0: no limit
	// FloorKgPerM2 bounds what each box on the floor puts on it, with all that
	// rests on that box, over the area of its own base. 0: no limit.
	FloorKgPerM2 int64
	// CentreMin and CentreMax bound the centre of mass of the load, as shares of
	// the inner length, width and height. CentreMax 0 along an axis is no bound.
	CentreMin, CentreMax [3]float64
}

// Options say how to pack.
type Options struct {
	// Support is the share of each box's base that must stand on the floor or on
	// other boxes: 1 is all of it; 0 lets a box float and pass no load on, which only
	// published comparisons of volume do.
	Support float64
	// Apart are pairs of segregation classes that may not share a container. A
	// class paired with itself keeps its own boxes apart.
	Apart [][2]string
	// Workers is how many goroutines search; 0 is one. The result of a search that
	// ends by Rollouts is the same for any number of them.
	Workers int
	// Rollouts bounds the search: about so many trial packings for each container.
	// 0 is no bound: then the context must end it, and Pack refuses one that never
	// would.
	Rollouts int
	// Used, if set, tells which share of the time for all of the search is over, from 0
	// to 1 and beyond. Each container then gets a fair part of what is left, by how many
	// are still to be filled, where else the first could take all of it.
	Used func() float64
	// Progress, if set, is called with each better packing, by one goroutine at a
	// time. It should return soon.
	Progress func(Progress)
}

// Progress tells how far a search is.
type Progress struct {
	Container   int     // which one is being filled, from 0
	Rollouts    int     // trial packings so far, for this container
	Utilisation float64 // of the best so far: volume of boxes over inner volume
	Boxes       int     // in the best so far
}

// Placement is one box in its place.
type Placement struct {
	Box      int    // index of the [Box] in the call
	At       [3]int // mm: the corner nearest to the origin
	Size     [3]int // mm along x, y and z, as it stands
	Upright  int    // which of the box's three dimensions stands upright
	Order    int    // when it is loaded, from 1
	TopGrams int64  // what rests on it, rounded up; what touches it from above shares by area
}

// Load is one container with what is in it, in the order of loading.
type Load struct {
	Container   int // index of the [Container] in the call
	Copy        int // which of its kind, from 1
	Placements  []Placement
	MassGrams   int64
	Utilisation float64    // volume of boxes over inner volume
	Centre      [3]float64 // mm: centre of mass; of volume if nothing has mass
}

// Reason says why a box was left out.
type Reason int

const (
	NoRoom       Reason = iota // no place was found for it
	TooLarge                   // no container takes it as it may stand, or its door does not
	TooHeavy                   // it alone is over the mass limit of each container that takes it
	NoCold                     // it must be kept cold and no container is
	GroupBroken                // its group did not fit together into one container
	Unbalanced                 // left out to keep the centre of mass within its bounds
	KeptApart                  // room only beside what it must be kept apart from
	FloorTooWeak               // it alone presses more on a floor than each container that takes it bears
	TooMuchMass                // each container that takes it has its most of mass
	NotBorne                   // there is room, and nothing there bears it: boxes below, or the floor
)

// String returns the reason in words, for people.
func (r Reason) String() string {
	return [...]string{"no room", "too large for every container or its door", "too heavy for every container",
		"no cold container", "its group does not fit into one container", "left out for balance",
		"room only beside what it is kept apart from", "presses more on the floor than any container bears", "each container is at its most of mass",
		"room only where what is below does not bear it"}[r]
}

// Left is a number of boxes of a kind that were left out.
type Left struct {
	Box    int // index of the [Box] in the call
	Count  int
	Reason Reason
}

// Result is a packing.
type Result struct {
	Loads       []Load
	Left        []Left
	Rollouts    int  // trial packings made
	Interrupted bool // the context ended before the search did
}

// Err says that a call cannot be worked on: which part of it, and why.
type Err struct {
	Part string // "box probe", "container 2"
	Why  string
}

func (e *Err) Error() string { return e.Part + ": " + e.Why }

// Pack puts the boxes into the containers, in the order in which the containers
// are given: each is filled as well as the search can before the next is begun. It
// returns the best packing found when the search is done or ctx ends: what is not
// filled by then is filled without search. Where several are filled, packing without any search is made
// too, and taken where it leaves out less or takes fewer. It returns an [*Err] if the
// call makes no sense. A packing that is returned keeps every rule.
func Pack(ctx context.Context, boxes []Box, containers []Container, options Options) (Result, error) {
	if err := check(ctx, boxes, containers, options); err != nil {
		return Result{}, err
	}
	return pack(ctx, boxes, containers, options), nil
}

func check(ctx context.Context, boxes []Box, containers []Container, options Options) error {
	if len(containers) == 0 {
		return &Err{"containers", "there is none"}
	}
	pieces := 0
	for i := range boxes {
		if why := boxes[i].wrong(); why != "" {
			return &Err{nameOf("box", boxes[i].ID, i), why}
		}
		pieces += boxes[i].Count
	}
	if pieces > MaxBoxes {
		return &Err{"boxes", fmt.Sprintf("there are %d; at most %d are packed at once", pieces, MaxBoxes)}
	}
	for i := range containers {
		if why := containers[i].wrong(); why != "" {
			return &Err{nameOf("container", containers[i].ID, i), why}
		}
	}
	return options.check(ctx)
}

func nameOf(noun, id string, i int) string {
	if id == "" {
		id = strconv.Itoa(i + 1)
	}
	return noun + " " + id
}

// wrongSize says what makes no sense of a size, or nothing.
func wrongSize(size [3]int) string {
	for axis, name := range axisNames {
		if size[axis] < 1 || size[axis] > MaxLength {
			return fmt.Sprintf("its %s is %d mm; it must be from 1 to %d", name, size[axis], MaxLength)
		}
	}
	return ""
}

var axisNames = [3]string{"length", "width", "height"}

func (b *Box) wrong() string {
	switch why := wrongSize(b.Size); {
	case why != "":
		return why
	case b.Count < 0 || b.Count > MaxBoxes:
		return fmt.Sprintf("its count is %d; it must be from 0 to %d", b.Count, MaxBoxes)
	case b.MassGrams < 0 || b.MassGrams > maxMass:
		return fmt.Sprintf("its mass is %d g; it must be from 0 to %d", b.MassGrams, maxMass)
	case b.TopLoadGrams < 0:
		return "the load on top is below zero"
	}
	return ""
}

func (c *Container) wrong() string {
	for axis, name := range axisNames {
		low, high := c.CentreMin[axis], c.CentreMax[axis]
		if math.IsNaN(low) || math.IsNaN(high) || low < 0 || high < 0 || high > 1 || low > high && high != 0 || low > 0 && high == 0 {
			return fmt.Sprintf("its centre of mass is bounded to %g to %g of the %s; they must be from 0 to 1, the lower first", low, high, name)
		}
	}
	switch why := wrongSize(c.Size); {
	case why != "":
		return why
	case c.Count < AsMany:
		return fmt.Sprintf("its count is %d", c.Count)
	case c.MassGramsMax < 0 || c.FloorKgPerM2 < 0 || c.Door[0] < 0 || c.Door[1] < 0:
		return "a limit of it is below zero"
	case c.Opening != OpenEnd && c.Opening != OpenTop:
		return fmt.Sprintf("it has no opening of kind %d", c.Opening)
	}
	return ""
}

func (options *Options) check(ctx context.Context) error {
	if s := options.Support; !(s >= 0 && s <= 1) {
		return &Err{"support", fmt.Sprintf("the share is %g; it must be from 0 to 1", s)}
	}
	if options.Rollouts < 0 || options.Workers < 0 {
		return &Err{"options", "rollouts or workers are below zero"}
	}
	classes := map[string]bool{}
	for _, pair := range options.Apart {
		for _, class := range pair {
			if class == "" {
				return &Err{"apart", "a class without a name"}
			}
			classes[class] = true
		}
	}
	if len(classes) > 64 {
		return &Err{"apart", fmt.Sprintf("it names %d classes; at most 64 are told apart", len(classes))}
	}
	if options.Rollouts == 0 && ctx.Done() == nil {
		return errors.New("packing: neither a bound on rollouts nor a context that ends")
	}
	return nil
}

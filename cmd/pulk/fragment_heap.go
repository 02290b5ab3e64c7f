package main

import (
	"errors"
	"fmt"

	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/fragment"
	"pulk/sync/transfer"
)

// heap gathers what came of fragments, to be told for each parcel once all are in:
// a line for each of some hundred fragments tells nobody anything.
type heap struct {
	c       *call
	log     *changelog.Log
	order   []fragment.Cut
	piles   map[fragment.Cut]*pile
	refused int
}

// pile is what came of one parcel.
type pile struct {
	set         *transfer.Set
	came, again int
	name        string // of the last that came
	whole       *transfer.Outcome
}

func newHeap(c *call, log *changelog.Log) *heap {
	return &heap{c: c, log: log, piles: map[fragment.Cut]*pile{}}
}

// add takes an outcome that is no refusal, and tells at once what is no fragment.
func (h *heap) add(name string, o transfer.Outcome) error {
	if o.Set == nil {
		return h.c.sayOutcome(h.log, name, o)
	}
	p := h.piles[o.Set.Cut]
	if p == nil {
		p = &pile{}
		h.piles[o.Set.Cut] = p
		h.order = append(h.order, o.Set.Cut)
	}
	p.set, p.name = o.Set, name
	if name != "" {
		p.came++
	}
	if o.Again {
		p.again++
	}
	if o.Whole != nil {
		p.whole = o.Whole
	}
	return nil
}

// damaged takes a fragment that cannot be read: the others may do without it.
func (h *heap) damaged(name string, err error) error {
	h.refused++
	h.c.env.report(fmt.Errorf("%s: %w", name, err))
	return nil
}

// say tells of each parcel. It returns why one of which enough is here was not
// taken.
func (h *heap) say() error {
	var failed error
	for _, cut := range h.order {
		if err := h.sayPile(h.piles[cut]); err != nil {
			failed = errors.Join(failed, err)
		}
	}
	if h.refused > 0 {
		failed = errors.Join(failed, fault.Hint("the others were kept", "%s refused", plural(h.refused, "fragment was", "fragments were")))
	}
	return failed
}

func (h *heap) sayPile(p *pile) error {
	c, title := h.c, "parcel "+p.set.Name.String()
	switch {
	case p.whole != nil && p.whole.Err != nil:
		return fmt.Errorf("%s: enough fragments are here, but: %w", title, p.whole.Err)
	case p.whole != nil:
		c.printf("%s: whole, from %s\n", title, plural(p.came, "fragment", "fragments"))
		return c.sayOutcome(h.log, title, *p.whole)
	case p.set.Done:
		c.printf("%s: taken before; %s not needed\n", title, plural(p.came, "fragment is", "fragments are"))
		return nil
	}
	c.printf("%s: %s", title, plural(p.came, "fragment", "fragments"))
	if p.again > 0 {
		c.printf(" (%d again)", p.again)
	}
	c.printf("; of %[2]d that are needed %[1]d are here, %[3]d missing\n", p.set.Here, p.set.Data, p.set.Lacking())
	return h.sayCode(p.set)
}

// sayCode says how the sender can be asked for what is missing.
func (h *heap) sayCode(set *transfer.Set) error {
	lacks, err := h.c.desk(h.log).Missing(h.c.Context.Context)
	for _, l := range lacks {
		if l.Cut == set.Cut {
			row := h.c.missingRowOf(l)
			h.c.printf("  to ask for them: pulk bundle make --resend %s, at the sender's; see: pulk bundle missing\n", row.Code)
		}
	}
	return err
}

package simulate

import (
	"math/rand/v2"
	"slices"
)

// Message is a bundle under way.
type Message struct {
	From, To int // machines
	Data     []byte
}

// Network loses, doubles, reorders, delays, cuts and damages what is sent.
type Network struct{ Queue []Message }

// Send puts a message under way.
func (n *Network) Send(m Message) { n.Queue = append(n.Queue, m) }

// Delivery is what comes out at the other end.
type Delivery struct {
	Message
	Fate string
	// Damaged tells that the bytes are not those sent.
	Damaged bool
}

// Deliver takes any message under way, not only the oldest, and decides its fate;
// false where there is none. A fate of "lost" brings nothing.
func (n *Network) Deliver(r *rand.Rand) (Delivery, bool) {
	if len(n.Queue) == 0 {
		return Delivery{}, false
	}
	i := r.IntN(len(n.Queue))
	d := Delivery{Message: n.Queue[i], Fate: "delivered"}
	dice := r.IntN(100)
	if dice < 12 { // it stays under way, and comes again
		d.Fate = "delivered, and will come again"
	} else {
		n.Queue = slices.Delete(n.Queue, i, i+1)
	}
	switch {
	case dice >= 12 && dice < 22:
		d.Fate = "lost"
	case dice >= 22 && dice < 26:
		d.Fate, d.Damaged = "cut short", true
		d.Data = slices.Clone(d.Data[:r.IntN(len(d.Data))])
	case dice >= 26 && dice < 30:
		d.Fate, d.Damaged = "damaged", true
		d.Data = slices.Clone(d.Data)
		d.Data[r.IntN(len(d.Data))] ^= 1 << r.IntN(8)
	}
	return d, true
}

package simulate

import (
	"math/rand/v2"
	"slices"
)

// Message is a parcel under way.
type Message struct {
	From, To int // machines
	Data     []byte
	// Piece tells that it goes with others like it in one pass of the link.
	Piece bool
	// False tells that somebody hostile made it.
	False bool
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

// Lost is the fate of what brings nothing.
const Lost = "lost"

// Deliver takes any message under way, not only the oldest, and decides its fate. Of
// pieces it takes those that go the same way, in any order, or as many as the pass
// carries; the rest waits for another. It returns nil where nothing is under way.
func (n *Network) Deliver(r *rand.Rand) []Delivery {
	if len(n.Queue) == 0 {
		return nil
	}
	i := r.IntN(len(n.Queue))
	if !n.Queue[i].Piece {
		return []Delivery{n.take(i, r)}
	}
	from, to := n.Queue[i].From, n.Queue[i].To
	var pass []int
	for i, m := range n.Queue {
		if m.Piece && m.From == from && m.To == to {
			pass = append(pass, i)
		}
	}
	r.Shuffle(len(pass), func(i, j int) { pass[i], pass[j] = pass[j], pass[i] })
	if r.IntN(3) == 0 {
		pass = pass[:1+r.IntN(len(pass))]
	}
	var list []Delivery
	var stay []Message // and come again
	for _, i := range pass {
		d, stays := fate(n.Queue[i], r)
		if list = append(list, d); stays {
			stay = append(stay, n.Queue[i])
		}
	}
	slices.Sort(pass)
	for _, i := range slices.Backward(pass) {
		n.Queue = slices.Delete(n.Queue, i, i+1)
	}
	n.Queue = append(n.Queue, stay...)
	return list
}

// take decides the fate of one message; where it comes again it stays in the queue.
func (n *Network) take(i int, r *rand.Rand) Delivery {
	d, stays := fate(n.Queue[i], r)
	if !stays {
		n.Queue = slices.Delete(n.Queue, i, i+1)
	}
	return d
}

func fate(m Message, r *rand.Rand) (d Delivery, stays bool) {
	d = Delivery{Message: m, Fate: "delivered"}
	dice := r.IntN(100)
	switch {
	case dice < 12:
		d.Fate, stays = "delivered, and will come again", true
	case dice < 22:
		d.Fate = Lost
	case dice < 26:
		d.Fate, d.Damaged = "cut short", true
		d.Data = slices.Clone(d.Data[:r.IntN(len(d.Data))])
	case dice < 30:
		d.Fate, d.Damaged = "damaged", true
		d.Data = slices.Clone(d.Data)
		d.Data[r.IntN(len(d.Data))] ^= 1 << r.IntN(8)
	}
	return d, stays
}

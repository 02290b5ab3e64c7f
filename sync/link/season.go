package link

import (
	"math"
	"time"

	"pulk/sync/clock"
)

// season is one run of a forecast.
type season struct {
	q       *Question
	uniform func() float64
	now     time.Time  // up to which traffic has come
	days    []DayBytes // drawn so far
	queues  [][]piece  // by rank
	bundles []*sentBundle
	contact int // the number of the present one
}

// piece is bytes of one part, or of new traffic, that wait.
type piece struct {
	part  int // newTraffic: none of the question's
	bytes float64
}

const newTraffic = -1

// sentBundle is a bundle that was sent.
type sentBundle struct {
	messageBytes int    // of each message, on the link
	missing      int    // messages that the other side still needs
	lost         []loss // messages lost, the oldest first
	at           float64
	carries      []bool // by rank
	ends         []int  // parts that end in it
}

// loss is messages lost in one contact.
type loss struct {
	contact, messages int
}

func newSeason(q *Question, uniform func() float64) *season {
	s := &season{q: q, uniform: uniform, now: q.From, queues: make([][]piece, len(clock.Classes))}
	for i, p := range q.Parts {
		r := rank(p.Class)
		s.queues[r] = append(s.queues[r], piece{i, float64(p.Bytes)})
	}
	return s
}

// play plays the next contact.
func (s *season) play(c Contact) {
	s.grow(c.Start)
	room := s.q.Budget.LinkBytes(c.Length())
	used := 0
	if s.uniform() < s.heard() {
		used = s.repair(c, room)
	}
	s.send(c, room, used)
	s.contact++
}

// heard is how likely the list of what is missing comes back in a contact.
func (s *season) heard() float64 {
	if s.q.Budget.ReceiveBitsPerSecond == 0 {
		return 0
	}
	return 1 - s.q.Budget.LossShare
}

// repair sends again what is known to be lost, as far as there is room, and
// returns the bytes that it takes on the link.
func (s *season) repair(c Contact, room int) int {
	used := 0
	for _, b := range s.bundles {
		if b.missing == 0 {
			continue
		}
		n := min(b.known(s.contact-s.q.RepairContacts), b.missing, (room-used)/b.messageBytes)
		used += n * b.messageBytes
		b.again(n)
		s.arrive(b, n, n, c, used)
	}
	return used
}

// known returns how many messages were lost in contacts up to one.
func (b *sentBundle) known(contact int) int {
	n := 0
	for _, l := range b.lost {
		if l.contact <= contact {
			n += l.messages
		}
	}
	return n
}

// again takes n messages, the oldest first, from those that were lost.
func (b *sentBundle) again(n int) {
	for n > 0 {
		first := &b.lost[0]
		k := min(n, first.messages)
		first.messages -= k
		n -= k
		if first.messages == 0 {
			b.lost = b.lost[1:]
		}
	}
}

// arrive lets the sent messages of a bundle arrive, or not, of which it needs so
// many; used is what the contact has taken so far.
func (s *season) arrive(b *sentBundle, sent, needed int, c Contact, used int) {
	gone := s.lose(sent)
	if gone > 0 {
		b.lost = append(b.lost, loss{s.contact, gone})
	}
	b.missing -= min(needed, sent-gone)
	if b.missing == 0 && math.IsInf(b.at, 1) {
		b.at = (c.Start.Sub(s.q.From) + s.q.Budget.sendTime(float64(used))).Seconds()
	}
}

// send packs what waits into a bundle that fits what is left of a contact.
func (s *season) send(c Contact, room, used int) {
	budget := s.q.Budget
	payload, ok := budget.Payload(room - used)
	free := float64(payload - s.q.BundleBytes)
	if !ok || free <= 0 {
		return
	}
	b := &sentBundle{at: math.Inf(1), carries: make([]bool, len(s.queues))}
	taken := 0.0
	for r := range s.queues {
		taken += s.take(b, r, free-taken)
	}
	if taken == 0 && len(b.ends) == 0 {
		return
	}
	bytes := int(math.Ceil(taken)) + s.q.BundleBytes
	cost := budget.Cost(bytes)
	b.missing = budget.messages(bytes)
	b.messageBytes = max(1, (cost.LinkBytes+cost.Messages-1)/cost.Messages)
	s.bundles = append(s.bundles, b)
	s.arrive(b, cost.Messages, b.missing, c, used+cost.LinkBytes)
}

// take moves up to free bytes of one class into a bundle, and returns how many.
func (s *season) take(b *sentBundle, r int, free float64) float64 {
	taken := 0.0
	queue := s.queues[r]
	for len(queue) > 0 && (free > taken || queue[0].bytes == 0) {
		first := &queue[0]
		n := math.Min(first.bytes, free-taken)
		taken += n
		first.bytes -= n
		b.carries[r] = true
		if first.bytes > 0 {
			break
		}
		if first.part != newTraffic {
			b.ends = append(b.ends, first.part)
		}
		queue = queue[1:]
	}
	s.queues[r] = queue
	return taken
}

// lose returns how many of n messages are lost: a draw from the binomial
// distribution, by the gaps between losses, which are geometric. Of more than a
// thousand expected the spread no longer matters, and the mean stands for them.
func (s *season) lose(n int) int {
	p := s.q.Budget.LossShare
	switch {
	case p == 0:
		return 0
	case float64(n)*p > 1000:
		return int(math.Round(float64(n) * p))
	}
	gone := 0
	for at := 0.0; ; gone++ {
		at += 1 + math.Floor(math.Log1p(-s.uniform())/math.Log1p(-p))
		if at > float64(n) {
			return gone
		}
	}
}

// grow lets the traffic up to a time come.
func (s *season) grow(to time.Time) {
	if len(s.q.Traffic.Days) == 0 {
		return
	}
	for s.now.Before(to) {
		number := int(s.now.Sub(s.q.From) / day)
		for len(s.days) <= number {
			drawn := int(s.uniform() * float64(len(s.q.Traffic.Days)))
			s.days = append(s.days, s.q.Traffic.Days[min(drawn, len(s.q.Traffic.Days)-1)])
		}
		next := s.q.From.Add(time.Duration(number+1) * day)
		if next.After(to) {
			next = to
		}
		share := next.Sub(s.now).Hours() / 24
		for r, class := range clock.Classes {
			s.append(r, s.days[number][class]*share)
		}
		s.now = next
	}
}

func (s *season) append(r int, bytes float64) {
	if bytes <= 0 {
		return
	}
	if n := len(s.queues[r]); n > 0 && s.queues[r][n-1].part == newTraffic {
		s.queues[r][n-1].bytes += bytes
		return
	}
	s.queues[r] = append(s.queues[r], piece{newTraffic, bytes})
}

// arrivals returns when each part was home, in seconds after the start: its bundle
// and all before that carry its class are whole.
func (s *season) arrivals() []float64 {
	list := make([]float64, len(s.q.Parts))
	for i := range list {
		list[i] = math.Inf(1)
	}
	latest := make([]float64, len(s.queues))
	for _, b := range s.bundles {
		for r, carries := range b.carries {
			if carries {
				latest[r] = math.Max(latest[r], b.at)
			}
		}
		for _, part := range b.ends {
			list[part] = latest[rank(s.q.Parts[part].Class)]
		}
	}
	return list
}

// backlog returns the bytes that wait to be sent at a time.
func (s *season) backlog(at time.Time) float64 {
	s.grow(at)
	sum := 0.0
	for _, queue := range s.queues {
		for _, p := range queue {
			sum += p.bytes
		}
	}
	return sum
}

// Package line talks over a link of datagrams that is slow, loses, doubles and
// delays them, and is open for part of the day: a modem, a radio, a satellite
// channel with IP on it.
//
// [Talk] is the conversation itself: what to send next, and when to ask again. It
// knows no clock and no socket. [Run] holds it over a real socket and a store.
package line

import (
	"slices"
	"time"
)

// Pace is what a link is like.
type Pace struct {
	BitsPerSecond int           // what is sent at most; 0 is no limit
	OverheadBytes int           // of each datagram on the link, beside its content
	RoundTrip     time.Duration // until an answer comes: a first guess, from which the talk learns
}

// Takes returns how long a datagram of so many bytes occupies the link.
func (p Pace) Takes(bytes int) time.Duration {
	if p.BitsPerSecond == 0 {
		return 0
	}
	return time.Duration((bytes+p.OverheadBytes)*8) * time.Second / time.Duration(p.BitsPerSecond)
}

// Bounds of a talk.
const (
	// window is how many datagrams are sent without hearing anything.
	window = 32
	// patience doubles with every question without an answer, up to this.
	patienceMax = time.Minute
	// answerBytes is how large an answer usually is: a list of what is missing or a
	// bundle that acknowledges.
	answerBytes = 160
	// reportEvery is after how many new parts of a load the sender is told what is
	// missing: it would wait for word otherwise.
	reportEvery = window / 2
	// gapHalves is how long a side waits for a next part before it says what is
	// missing, in halves of the time that a part takes.
	gapHalves = 5
	// apartOf is of how many parts the times between them are kept.
	apartOf = 7
	// apartMost is how many times as long as a part takes they may be apart.
	apartMost = 3
	// downPause is how long to wait after the system said that the link is down.
	downPause = time.Second / 2
)

// Talk is one side of a conversation. All times must come from one clock and never
// run back. The zero value is not usable: see [New].
type Talk struct {
	pace  Pace
	loads []*load
	words [][]byte // answers: they go before all else

	freeAt    time.Time // when the link has sent what it was given
	roundTrip time.Duration
	unheard   int // datagrams sent since anything was heard
	last      sent
	tally     Spent
	downAt    time.Time // when the system last said that the link is down

	cameAt time.Time       // when a part came last
	apart  []time.Duration // how long after the one before it each of the latest parts came
}

// load is the datagrams of one bundle.
type load struct {
	name   string
	urgent bool
	parts  [][]byte
	queue  []int       // places to be sent, in order
	sentAt []time.Time // of each, when it was sent last but to ask; zero if never
	askAt  time.Time   // when to ask, if nothing is heard by then
	asked  int         // questions without an answer
	// askedAt is when a part was sent last to ask, and asking its place.
	askedAt time.Time
	asking  int
}

// sent is what was given to the link last, to be put back where that failed.
type sent struct {
	load  *load // nil for a word
	place int
	word  []byte
	poll  bool
	again bool
	wasAt time.Time // when that part was sent before, or what was sent to ask
}

// Spent counts the bytes that a talk has given to the link, by what they were for.
type Spent struct {
	First     int // parts for the first time
	Again     int // parts that the other side asked for
	Questions int // parts sent to hear what has arrived
	Words     int // answers
}

// Bytes returns the sum.
func (s Spent) Bytes() int { return s.First + s.Again + s.Questions + s.Words }

// Spent returns what was given to the link so far.
func (t *Talk) Spent() Spent { return t.tally }

// book counts a datagram; sign is -1 where it did not leave after all.
func (t *Talk) book(s sent, sign int) {
	switch {
	case s.load == nil:
		t.tally.Words += sign * len(s.word)
	case s.poll:
		t.tally.Questions += sign * len(s.load.parts[s.place])
	case s.again:
		t.tally.Again += sign * len(s.load.parts[s.place])
	default:
		t.tally.First += sign * len(s.load.parts[s.place])
	}
}

// New returns a talk that has nothing to say.
func New(pace Pace) *Talk { return &Talk{pace: pace, roundTrip: pace.RoundTrip} }

// Say sends an answer before everything else.
func (t *Talk) Say(word []byte) { t.words = append(t.words, word) }

// Carry takes a load on: the datagrams of one bundle. An urgent load goes before all
// that are not; else they go in the order in which they were given. The load is sent
// again, part by part as the other side asks, until it is [Talk.Settled].
func (t *Talk) Carry(name string, urgent bool, parts [][]byte) {
	l := &load{name: name, urgent: urgent, parts: parts, sentAt: make([]time.Time, len(parts))}
	for i := range parts {
		l.queue = append(l.queue, i)
	}
	at := len(t.loads)
	if urgent {
		at = slices.IndexFunc(t.loads, func(l *load) bool { return !l.urgent })
		if at < 0 {
			at = len(t.loads)
		}
	}
	t.loads = slices.Insert(t.loads, at, l)
}

// Settled says that a load has arrived whole.
func (t *Talk) Settled(name string) {
	t.loads = slices.DeleteFunc(t.loads, func(l *load) bool { return l.name == name })
}

// Loads returns the names of what has not arrived whole yet, as far as is known.
func (t *Talk) Loads() []string {
	var names []string
	for _, l := range t.loads {
		names = append(names, l.name)
	}
	return names
}

// Idle reports whether there is nothing to send and nothing to wait for.
func (t *Talk) Idle() bool { return len(t.loads) == 0 && len(t.words) == 0 }

// Heard says that something came from the other side. It is alive then, and will say
// what it lacks of a load; but of an urgent one it may never have heard.
func (t *Talk) Heard(now time.Time) {
	if !slices.ContainsFunc(t.loads, func(l *load) bool { return l.asked > 0 }) && t.unheard > 0 && t.downAt.Before(t.freeAt) {
		t.learn(now)
	}
	t.unheard = 0
	for _, l := range t.loads {
		l.asked = 0
		if !l.urgent {
			t.ask(l, now)
		}
	}
}

// Unanswered returns how many questions in a row have had no answer.
func (t *Talk) Unanswered() int {
	most := 0
	for _, l := range t.loads {
		most = max(most, l.asked)
	}
	return most
}

// learn moves the round trip towards the time since the last datagram left: an
// answer may be to an earlier one, so it gets shorter slowly.
func (t *Talk) learn(now time.Time) {
	took := min(now.Sub(t.freeAt), patienceMax)
	switch {
	case took > t.roundTrip:
		t.roundTrip += (took - t.roundTrip) / 2
	case took > 0:
		t.roundTrip += (took - t.roundTrip) / 8
	}
}

// Resend queues parts of a load that the other side lacks, but for those that may
// still be on their way. Only says that of the other places all have arrived; else
// only those before the last one asked for have. It reports whether it has that load.
func (t *Talk) Resend(now time.Time, name string, places []int, only bool) bool {
	at := slices.IndexFunc(t.loads, func(l *load) bool { return l.name == name })
	if at < 0 {
		return false
	}
	l := t.loads[at]
	due := t.due(l, places, only)
	for _, place := range places {
		if place < 0 || place >= len(l.parts) || slices.Contains(l.queue, place) {
			continue
		}
		at := l.sentAt[place]
		lately := at
		if place == l.asking && l.askedAt.After(at) {
			lately = l.askedAt
		}
		if lately.After(t.downAt) && (at.After(due) || now.Sub(lately) < t.roundTrip*3/4) {
			continue
		}
		l.queue = append(l.queue, place)
	}
	return true
}

// due returns until when what was sent ought to have arrived when the other side said
// which places it lacks. A link keeps the order: what was sent after the last part that
// has arrived may be in a queue, however long ago that was, where the link is slower than
// its pace. But where the other side has waited in vain before it said so, what was sent
// right behind that part is lost.
func (t *Talk) due(l *load, lacking []int, only bool) time.Time {
	end := len(l.parts)
	if !only && len(lacking) > 0 {
		end = min(end, slices.Max(lacking))
	}
	lacks := make([]bool, len(l.parts))
	for _, place := range lacking {
		if place >= 0 && place < len(lacks) {
			lacks[place] = true
		}
	}
	var last time.Time
	here, lastPlace := 0, -1
	for place := range end {
		if at := l.sentAt[place]; !lacks[place] && !at.IsZero() {
			here++
			if !at.Before(last) {
				last, lastPlace = at, place
			}
		}
	}
	switch {
	case lastPlace < 0:
		return l.latest() // nothing is known to have arrived
	case only && here%reportEvery == 0:
		return last // it counted, and did not wait
	}
	return last.Add(t.pace.Takes(len(l.parts[lastPlace])) * gapHalves / 2)
}

// latest returns when the latest part was sent.
func (l *load) latest() time.Time { return slices.MaxFunc(l.sentAt, time.Time.Compare) }

// Next returns the next datagram to send now, or nil and how long to wait before
// asking again, if nothing comes meanwhile; 0 is for ever.
func (t *Talk) Next(now time.Time) ([]byte, time.Duration) {
	if wait := t.freeAt.Sub(now); wait > 0 {
		return nil, wait
	}
	if len(t.words) > 0 {
		word := t.words[0]
		t.words = t.words[1:]
		return t.send(now, sent{word: word}), 0
	}
	wait := time.Duration(0)
	for _, l := range t.loads {
		if len(l.queue) > 0 && (t.unheard < window || l.urgent) {
			place := l.queue[0]
			l.queue = l.queue[1:]
			return t.send(now, sent{load: l, place: place}), 0
		}
		if l.askAt.IsZero() {
			continue // it has to wait for others first
		}
		until := l.askAt.Sub(now)
		if until <= 0 {
			l.asked++
			return t.send(now, t.question(l)), 0
		}
		if wait == 0 || until < wait {
			wait = until
		}
	}
	return nil, wait
}

// question is a datagram that makes the other side say what it lacks: one that it may
// have already. It is the part that was sent last, since once that is there, all that
// was sent before it is there or lost.
func (t *Talk) question(l *load) sent {
	place := 0
	for i, at := range l.sentAt {
		if !at.Before(l.sentAt[place]) {
			place = i
		}
	}
	return sent{load: l, place: place, poll: true}
}

// send books a datagram as given to the link.
func (t *Talk) send(now time.Time, s sent) []byte {
	data := s.word
	if s.load != nil {
		data = s.load.parts[s.place]
		if s.poll {
			s.wasAt = s.load.askedAt
			s.load.askedAt, s.load.asking = now, s.place
		} else {
			s.wasAt = s.load.sentAt[s.place]
			s.again = !s.wasAt.IsZero()
			s.load.sentAt[s.place] = now
		}
		t.unheard++
	}
	t.last = s
	t.book(s, 1)
	t.freeAt = now.Add(t.pace.Takes(len(data)))
	if s.load != nil {
		t.ask(s.load, t.freeAt)
	}
	return data
}

// ask sets when to ask about a load that has been begun.
func (t *Talk) ask(l *load, from time.Time) {
	if l.askAt.IsZero() && len(l.queue) == len(l.parts) {
		return
	}
	patience := (t.roundTrip + t.pace.Takes(answerBytes)) * 5 / 4
	for range l.asked {
		patience = min(patience*2, patienceMax)
	}
	// Not evenly, or each question may leave at the same moment before a pass ends.
	patience -= patience / 16 * time.Duration(l.asked%5)
	l.askAt = from.Add(patience)
}

// Came says that a part of so many bytes came from the other side, for the first time.
// What is much longer after the one before than a part takes was sent after a pause, and
// says nothing of the link.
func (t *Talk) Came(now time.Time, bytes int) {
	if apart := now.Sub(t.cameAt); apart <= apartMost*t.pace.Takes(bytes) {
		t.apart = append(t.apart, apart)
		t.apart = t.apart[max(0, len(t.apart)-apartOf):]
	}
	t.cameAt = now
}

// Apart returns how far apart parts come: the median of the latest, so that one that
// was lost between two, or two that came at once, count little. 0 is not known: yet, or
// as the link has no rate or is slower by far than it was said to be.
func (t *Talk) Apart() time.Duration {
	if len(t.apart) < apartOf {
		return 0
	}
	return slices.Sorted(slices.Values(t.apart))[apartOf/2]
}

// Gap returns how long to wait for a next part of so many bytes before saying what is
// missing: long enough that one may be lost without a word, if the other side's link is
// as ours was said to be, or as slow as what came shows.
func (t *Talk) Gap(bytes int) time.Duration {
	return max(t.pace.Takes(bytes), t.Apart()) * gapHalves / 2
}

// Failed says that the system would not send the last datagram, as the link is down.
// It is sent later, and no patience is lost meanwhile.
func (t *Talk) Failed(now time.Time) {
	t.book(t.last, -1)
	switch s := t.last; {
	case s.load != nil && s.poll:
		s.load.askedAt = s.wasAt
	case s.load != nil:
		s.load.sentAt[s.place] = s.wasAt
		s.load.queue = slices.Insert(s.load.queue, 0, s.place)
	case s.word != nil:
		t.words = slices.Insert(t.words, 0, s.word)
	}
	t.last, t.downAt = sent{}, now
	t.unheard = 0
	t.freeAt = now.Add(downPause)
	for _, l := range t.loads {
		if l.asked = 0; !l.askAt.IsZero() {
			l.askAt = t.freeAt // to be asked at once when it is up again
		}
	}
}

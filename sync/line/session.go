package line

import (
	"context"
	"errors"
	"maps"
	"slices"
	"time"

	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/fragment"
	"pulk/sync/transfer"
)

// Socket moves datagrams to and from the other side.
type Socket interface {
	// Send gives a datagram to the link. An error says that it is down now.
	Send(datagram []byte) error
	// Receive waits for a datagram, and returns an error once the socket is closed.
	Receive() ([]byte, error)
}

// Session holds a talk between a store and another site.
type Session struct {
	Desk   transfer.Desk // its Now is filled in
	Peer   clock.SiteID
	Socket Socket
	Pace   Pace
	Wrap   transfer.Wrapping // FragmentBytes is the largest content of a datagram
	// LoadBytes is how much goes in one bundle: what is made later waits for it.
	LoadBytes int
	// Look is how often the store is looked at for what other commands wrote.
	Look time.Duration
	// Stay goes on when both sides have all.
	Stay bool
	Now  func() time.Time
	// Said is told what came of each parcel that arrived. Its error ends the session.
	Said func(transfer.Outcome) error
	// Moved is told when what this site has sent is known to have arrived.
	Moved func(Tally)

	talk     *Talk
	flying   map[string]flight
	lacking  map[fragment.Name]lack
	has      clock.Vector // what the other side has said to have, in this session
	tally    Tally
	heads    clock.Vector // as they were when the store was last looked at
	lookAt   time.Time
	greeted  time.Time // when the first datagram left
	quiet    time.Time // since when nothing is left to do
	owes     bool      // word of what has arrived
	incoming chan []byte
}

// Tally counts what a session did.
type Tally struct {
	Datagrams   int // given to the link
	Spent           // their bytes, content alone
	BundleBytes int // of bundles made for the other side, wrapped, each counted once
	Arrived     int // change-sets that the other side has said to have
	Heard       int // datagrams that came
	Refused     int // of those
	CameAt      int // bits a second at which parts came, about; 0 where too few came to tell
	Down        int // times that the system said the link was down
}

// flight is a bundle on its way.
type flight struct {
	ends   clock.Vector
	sets   int
	urgent bool
}

// lack is a parcel of which not all has come.
type lack struct {
	askAt time.Time // when to say what is missing; zero if that was said
}

// patienceQuestions is after how many questions without an answer the other side is
// taken to have gone.
const patienceQuestions = 8

// lackingPause is how long to wait at least for what the other side has.
const lackingPause = 10 * time.Second

// fragmentHead is about how much a fragment has beside its share of the parcel.
const fragmentHead = 16

// requestBytes is how large a request for missing fragments may be.
const requestBytes = 99

// Run talks until ctx ends, or both sides have all and Stay is not set. What was on
// its way then is sent again by the next session.
func (s *Session) Run(ctx context.Context) (Tally, error) {
	s.talk = New(s.Pace)
	s.flying, s.lacking, s.has = map[string]flight{}, map[fragment.Name]lack{}, clock.Vector{}
	s.incoming = make(chan []byte, 4*window)
	ended := make(chan struct{})
	defer close(ended)
	go s.listen(ended)
	s.owes = true // greet: the other side then knows what need not be sent
	for {
		if err := s.turn(ctx); err != nil || ctx.Err() != nil {
			return s.tally, err
		}
		if done, err := s.finished(ctx); err != nil || done {
			return s.tally, err
		}
	}
}

func (s *Session) listen(ended chan struct{}) {
	defer close(s.incoming)
	for {
		datagram, err := s.Socket.Receive()
		if err != nil {
			return
		}
		select {
		case s.incoming <- datagram:
		case <-ended:
			return
		default: // more than can be taken: as if lost on the way
		}
	}
}

// turn does what there is to do, and then waits for what comes next.
func (s *Session) turn(ctx context.Context) error {
	now := s.Now()
	if !now.Before(s.lookAt) {
		s.lookAt = now.Add(s.Look)
		if err := s.look(ctx); err != nil {
			return err
		}
	}
	if err := s.answer(ctx); err != nil {
		return err
	}
	datagram, wait := s.talk.Next(now)
	if datagram != nil {
		s.send(now, datagram)
		return s.takeAll(ctx, nil)
	}
	until := s.lookAt.Sub(now)
	if wait > 0 {
		until = min(until, wait)
	}
	for _, l := range s.lacking {
		if !l.askAt.IsZero() {
			until = min(until, l.askAt.Sub(now))
		}
	}
	timer := time.NewTimer(max(until, 0))
	defer timer.Stop()
	select {
	case datagram, ok := <-s.incoming:
		if !ok {
			return errors.New("the socket was closed")
		}
		return s.takeAll(ctx, datagram)
	case <-timer.C:
	case <-ctx.Done():
	}
	return nil
}

func (s *Session) send(now time.Time, datagram []byte) {
	if err := s.Socket.Send(datagram); err != nil {
		s.tally.Down++
		s.talk.Failed(now)
		return
	}
	s.tally.Datagrams++
	if s.greeted.IsZero() {
		s.greeted = now
	}
	s.tally.Spent = s.talk.Spent()
}

// takeAll takes the datagram and all others that have come.
func (s *Session) takeAll(ctx context.Context, first []byte) error {
	var list [][]byte
	if first != nil {
		list = append(list, first)
	}
	for more := true; more && len(list) < 4*window; {
		select {
		case datagram, ok := <-s.incoming:
			if more = ok; ok {
				list = append(list, datagram)
			}
		default:
			more = false
		}
	}
	if len(list) == 0 {
		return nil
	}
	now := s.Now()
	s.tally.Heard += len(list)
	s.Desk.Now = now
	heard := false
	err := s.Desk.Take(ctx, len(list), func(i int) ([]byte, error) { return list[i], nil }, func(_ int, o transfer.Outcome) error {
		heard = heard || o.Err == nil
		return s.came(ctx, now, o)
	})
	if err != nil {
		return err
	}
	if heard {
		s.talk.Heard(now)
		s.quiet = time.Time{}
		s.lookAt = now // what came may need an answer, or settle what is on its way
	}
	return s.settle(ctx)
}

// came does with one outcome what the talk needs.
func (s *Session) came(ctx context.Context, now time.Time, o transfer.Outcome) error {
	switch {
	case o.Err != nil:
		s.tally.Refused++
	case o.Asked != nil:
		if err := s.resend(ctx, now, *o.Asked); err != nil {
			return err
		}
	case o.Taken != nil:
		s.owes = s.owes || o.Taken.Asks
	case o.Set != nil:
		s.fragment(now, o)
	}
	return s.Said(o)
}

// fragment notes what is missing of a parcel.
func (s *Session) fragment(now time.Time, o transfer.Outcome) {
	name := o.Set.Name
	if o.Set.Done || o.Whole != nil {
		delete(s.lacking, name)
		s.owes = s.owes || o.Whole == nil || o.Whole.Taken == nil || o.Whole.Taken.Asks
		return
	}
	bytes := o.Set.Size + fragmentHead
	wait := s.Pace.Takes(bytes) // what was here already is a question: nothing else may come
	if !o.Again {
		s.talk.Came(now, bytes)
		if apart := s.talk.Apart(); apart > 0 {
			s.tally.CameAt = int(time.Duration((bytes+s.Pace.OverheadBytes)*8) * time.Second / apart)
		}
		wait = s.talk.Gap(bytes)
	}
	l := lack{askAt: now.Add(max(wait, s.talk.roundTrip/8))}
	if !o.Again && o.Set.Here%reportEvery == 0 {
		l.askAt = now
	}
	s.lacking[name] = l
}

// resend queues what the other side lacks of a parcel: of one on its way, or of one
// that an earlier session sent.
func (s *Session) resend(ctx context.Context, now time.Time, r fragment.Request) error {
	if s.talk.Resend(now, r.Name.String(), r.Missing, !r.Partial && r.Parity == 0) {
		return nil
	}
	parcels, to, err := s.Desk.Again(ctx, r)
	if err != nil || to != s.Peer {
		return nil // it is of no use any more: what is missing goes in a new bundle
	}
	for _, p := range parcels[:min(len(parcels), window)] {
		s.talk.Say(p.Data)
	}
	return nil
}

// answer makes the answers that are due: what is missing, what has arrived.
func (s *Session) answer(ctx context.Context) error {
	now := s.Now()
	if err := s.askForLacking(ctx, now); err != nil {
		return err
	}
	if !s.owes {
		return nil
	}
	s.owes = false
	made, err := s.make(ctx, changelog.Request{Word: true})
	if err != nil {
		return err
	}
	for _, p := range made.Parcels {
		s.talk.Say(p.Data)
	}
	return nil
}

// askForLacking asks for what is missing of parcels of which nothing came lately.
// It does so once, until more comes: who sends asks where they hear nothing.
func (s *Session) askForLacking(ctx context.Context, now time.Time) error {
	due := func(l lack) bool { return !l.askAt.IsZero() && !now.Before(l.askAt) }
	if !slices.ContainsFunc(slices.Collect(maps.Values(s.lacking)), due) {
		return nil
	}
	list, err := s.Desk.Missing(ctx)
	if err != nil {
		return err
	}
	for _, missing := range list {
		if l, ok := s.lacking[missing.Name]; ok && due(l) {
			s.talk.Say(missing.Request.Encode(requestBytes))
			l.askAt = time.Time{}
			s.lacking[missing.Name] = l
		}
	}
	return nil
}

func (s *Session) make(ctx context.Context, r changelog.Request) (*transfer.Made, error) {
	r.To = s.Peer
	s.Desk.Now = s.Now()
	return s.Desk.Make(ctx, transfer.Request{Request: r, Wrapping: s.Wrap})
}

// look takes up what waits in the store for the other side: what is urgent at once,
// all else when what was taken up before has arrived.
func (s *Session) look(ctx context.Context) error {
	heads := clock.Vector{}
	err := s.Desk.Log.View(ctx, func(tx *changelog.Tx) (err error) { heads, err = tx.HeadsFor(s.Peer); return err })
	if err != nil {
		return err
	}
	changed := !maps.Equal(heads, s.heads)
	s.heads = heads
	if changed {
		if err := s.take(ctx, changelog.Request{Classes: []clock.Class{clock.Expedited}}); err != nil {
			return err
		}
	}
	if s.greeting() || slices.ContainsFunc(slices.Collect(maps.Values(s.flying)), func(f flight) bool { return !f.urgent }) {
		return nil
	}
	return s.take(ctx, changelog.Request{MaxBytes: s.LoadBytes})
}

// greeting reports whether the other side may still be about to say what it has, so
// that what is not urgent had better wait.
func (s *Session) greeting() bool {
	if s.tally.Heard > s.tally.Refused {
		return false
	}
	return s.greeted.IsZero() || s.Now().Sub(s.greeted) < 2*(s.talk.roundTrip+s.Pace.Takes(answerBytes))
}

// take makes a bundle of what is not on its way yet, and gives it to the talk.
func (s *Session) take(ctx context.Context, r changelog.Request) error {
	if err := s.hear(ctx); err != nil {
		return err
	}
	r.Behind = s.has.Clone()
	for _, f := range s.flying {
		r.Behind.Merge(f.ends)
	}
	if !s.waits(r) {
		return nil
	}
	made, err := s.make(ctx, r)
	if err != nil || made.Sets == 0 {
		return err
	}
	f := flight{ends: clock.Vector{}, sets: made.Sets, urgent: r.Classes != nil}
	for i := range made.Segments {
		f.ends[made.Segments[i].Lane] = max(f.ends[made.Segments[i].Lane], made.Segments[i].To())
	}
	name := fragment.NameOf(made.Data).String()
	if made.Cut != nil {
		name = made.Cut.Name.String()
	}
	var parts [][]byte
	for _, p := range made.Parcels {
		parts = append(parts, p.Data)
	}
	s.flying[name] = f
	s.tally.BundleBytes += made.Bytes()
	s.talk.Carry(name, f.urgent, parts)
	return nil
}

// waits reports whether anything waits for the other side that is not on its way.
func (s *Session) waits(r changelog.Request) bool {
	for lane, seq := range s.heads {
		if (r.Classes == nil || slices.Contains(r.Classes, lane.Class)) && seq > r.Behind[lane] {
			return true
		}
	}
	return false
}

// hear takes in what the other side has said to have. Word that comes late, after
// newer word, takes nothing back within a session.
func (s *Session) hear(ctx context.Context) error {
	return s.Desk.Log.View(ctx, func(tx *changelog.Tx) error {
		has, err := tx.Acknowledged(s.Peer)
		s.has.Merge(has)
		return err
	})
}

// settle ends the flights of what the other side has said to have.
func (s *Session) settle(ctx context.Context) error {
	if len(s.flying) == 0 {
		return nil
	}
	if err := s.hear(ctx); err != nil {
		return err
	}
	for name, f := range s.flying {
		if !s.has.Covers(f.ends) {
			continue
		}
		s.talk.Settled(name)
		s.tally.Arrived += f.sets
		delete(s.flying, name)
		if s.Moved != nil {
			s.Moved(s.tally)
		}
	}
	return nil
}

// finished reports whether nothing has been left to do for long enough that the other
// side would have asked, had it missed the last word. Where it has said that it has
// more than is here, that is longer: it may be about to send it.
func (s *Session) finished(ctx context.Context) (bool, error) {
	if !s.Stay && s.talk.Unanswered() >= patienceQuestions {
		return true, nil // the other side has gone; what it did not confirm goes again in the next talk
	}
	if s.Stay || !s.talk.Idle() || len(s.lacking) > 0 || s.tally.Heard == s.tally.Refused {
		s.quiet = time.Time{}
		return false, nil
	}
	now := s.Now()
	if s.quiet.IsZero() {
		s.quiet = now
	}
	answer := s.talk.roundTrip + s.Pace.Takes(answerBytes)
	if now.Sub(s.quiet) < 6*answer {
		return false, nil
	}
	lacks := false
	err := s.Desk.Log.View(ctx, func(tx *changelog.Tx) error {
		peers, err := tx.Peers()
		for _, peer := range peers {
			lacks = lacks || peer.ID == s.Peer && peer.Lacking > 0
		}
		return err
	})
	return !lacks || now.Sub(s.quiet) > max(30*answer, lackingPause), err
}

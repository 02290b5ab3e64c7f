package simulate_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"time"

	"pulk/checklist/run"
	"pulk/schema"
	"pulk/schema/fault"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/fragment"
	"pulk/sync/simulate"
)

// world is one season being played.
type world struct {
	tmpl     *template
	h        *simulate.History
	m        *model
	dir      string
	machines []*machine
	net      simulate.Network
	now      time.Time
	story    []string
	forked   bool // some store was restored or copied
	counts   map[string]int
	circumstances
	far   bool                      // the site that is away is away now
	cuts  map[fragment.Cut]*cutSent // what was sent in fragments
	cut   *cut                      // nil: nobody was cut off
	inOld *machine                  // whose program of the earlier version runs now
	last  *rand.Rand                // of the end of the season
	// everNamed is which sites were named for what is confined, at any time.
	everNamed map[clock.SiteID]bool
}

// machine is one store at one site. A site has two where its store was copied and
// both went on.
type machine struct {
	w       *world
	name    string
	site    int
	late    bool // it is set back to before it knew anybody
	path    string
	store   *schema.Store
	log     *changelog.Log
	knew    simulate.Bits // what the store holds
	dots    map[int]clock.Dot
	numbers map[clock.Dot]int
	skew    time.Duration
	backups []backup
	old     bool                     // it runs the program of the earlier version
	pieces  map[fragment.Cut]*pieces // what arrived of parcels in fragments
	onWay   map[int]clock.Vector     // by site, what went there in fragments
}

type backup struct {
	data []byte
	knew simulate.Bits
}

// failure is how a season ends that shows a fault.
type failure struct{ text string }

func (w *world) fail(format string, args ...any) { panic(failure{fmt.Sprintf(format, args...)}) }

func (w *world) tell(format string, args ...any) {
	w.story = append(w.story, fmt.Sprintf(format, args...))
}

func (m *machine) id() clock.SiteID { return m.w.tmpl.selfs[m.site].Site }

func (m *machine) now() time.Time { return m.w.now.Add(m.skew) }

func (m *machine) close() {
	if err := m.store.Close(); err != nil {
		m.w.fail("%s: close: %v", m.name, err)
	}
}

func (m *machine) open() { m.openAs("") }

// openAs opens the store; a mark, where given, is what it is to remember of its
// file.
func (m *machine) openAs(mark string) {
	var err error
	if m.store, err = schema.Open(m.path, schema.Scratch); err != nil {
		m.w.fail("%s does not open: %v", m.name, err)
	}
	if mark != "" {
		m.raw(func(tx *schema.Tx) error { return tx.Exec("UPDATE meta SET value = ? WHERE name = 'file'", mark) })
	}
	if m.as(func() { m.log, err = changelog.Open(context.Background(), m.store, m.projectors()...) }); err != nil {
		m.w.fail("%s does not open: %v", m.name, err)
	}
}

func (m *machine) raw(fn func(tx *schema.Tx) error) {
	if err := m.store.Update(context.Background(), fn); err != nil {
		m.w.fail("%s: %v", m.name, err)
	}
}

func (m *machine) view(fn func(tx *changelog.Tx) error) {
	m.as(func() {
		if err := m.log.View(context.Background(), fn); err != nil {
			m.w.fail("%s: %v", m.name, err)
		}
	})
}

// refresh reads which change-sets the store holds, by the heads of its lanes.
func (m *machine) refresh() {
	before := m.knew
	m.knew, m.dots, m.numbers = nil, map[int]clock.Dot{}, map[clock.Dot]int{}
	err := m.store.View(context.Background(), func(tx *schema.Tx) error {
		return tx.Each("SELECT site, epoch, class, branch, fork_seq, tip, tip_hash FROM lane WHERE tip > 0", nil, func(scan func(...any) error) error {
			var dot clock.Dot
			var fork, tip uint64
			var raw []byte
			if err := scan(&dot.Site, &dot.Epoch, &dot.Class, &dot.Branch, &fork, &tip, &raw); err != nil {
				return err
			}
			if tip < fork {
				return nil
			}
			c := m.w.h.ByHash(change.Hash(raw))
			if c == nil {
				return fmt.Errorf("lane %s ends in a change-set that nobody committed", dot.Lane)
			}
			m.knew.Or(c.Line)
			for n := range c.Line.All {
				seq := m.w.h.Commits[n].Set.Seq
				if seq >= fork && seq <= tip {
					m.place(n, clock.Dot{Lane: dot.Lane, Seq: seq})
				}
			}
			return nil
		})
	})
	if err != nil {
		m.w.fail("%s: %v", m.name, err)
	}
	m.mayLose(before.Without(m.knew))
	m.w.mustHeed(m)
	if len(m.dots) != m.knew.Count() {
		m.w.fail("%s has %d change-sets in %d places", m.name, m.knew.Count(), len(m.dots))
	}
}

func (m *machine) place(n int, dot clock.Dot) {
	m.dots[n], m.numbers[dot] = dot, n
}

// dot returns the name that this store has for a change.
func (m *machine) dot(id simulate.ID) clock.Dot {
	if id == simulate.None {
		return clock.Dot{}
	}
	dot := m.dots[id.N]
	dot.Index = uint16(id.Index)
	return dot
}

// idOf is the inverse of dot.
func (m *machine) idOf(dot clock.Dot) simulate.ID {
	if dot.IsZero() {
		return simulate.None
	}
	index := int(dot.Index)
	dot.Index = 0
	n, ok := m.numbers[dot]
	if !ok {
		return simulate.ID{N: -2, Index: index} // not here
	}
	return simulate.ID{N: n, Index: index}
}

func (w *world) list(b simulate.Bits) string {
	text := ""
	for n := range b.All {
		c := w.h.Commits[n]
		text += fmt.Sprintf(" %s/%d", w.lane(c.Set.Lane), c.Set.Seq)
	}
	return text
}

func (w *world) lane(l clock.Lane) string {
	for i := range w.tmpl.selfs {
		if w.tmpl.selfs[i].Site == l.Site {
			return fmt.Sprintf("%s.%d.%s", siteCodes[i], l.Epoch, l.Class)
		}
	}
	return l.String()
}

// book enters a change-set that a machine has just committed.
func (w *world) book(m *machine, lane clock.Lane, seq uint64) *simulate.Commit {
	var bytes, hash []byte
	err := m.store.View(context.Background(), func(tx *schema.Tx) error {
		found, err := tx.Row("SELECT bytes, hash FROM changeset WHERE seq = ? AND lane = (SELECT id FROM lane WHERE site = ? AND epoch = ? AND class = ? AND branch = 0)",
			[]any{seq, lane.Site, lane.Epoch, lane.Class}, &bytes, &hash)
		if err == nil && !found {
			err = errors.New("what was reported as written is not there")
		}
		return err
	})
	if err != nil {
		w.fail("%s: %s/%d: %v", m.name, lane, seq, err)
	}
	known := len(w.h.Commits)
	c, err := w.h.Add(lane, seq, bytes, change.Hash(hash), m.knew.Clone())
	if err == nil && len(w.h.Commits) > known {
		err = w.m.learn(c, m.old)
	}
	if err != nil {
		w.fail("%s: %v", m.name, err)
	}
	w.mustBeFree(m, c)
	m.knew.Add(c.N)
	if m.dots == nil {
		m.refresh()
	}
	m.place(c.N, clock.Dot{Lane: lane, Seq: seq})
	return c
}

// mustBeFree: nobody writes under a number of which something in their store says that
// it is in use.
func (w *world) mustBeFree(m *machine, c *simulate.Commit) {
	for _, rival := range w.h.Rivals(c) {
		for n := range m.knew.All {
			if n != c.N && (n == rival.N || w.h.Commits[n].Knew.Has(rival.N)) {
				w.fail("%s writes %s/%d, though it could know that the number is in use", m.name, w.lane(c.Set.Lane), c.Set.Seq)
			}
		}
	}
}

// answered reports whether an error is an answer to a person, and no fault.
func answered(err error) bool {
	var refused *fault.Refused
	var hinted *fault.Hinted
	var usage *fault.Usage
	return errors.As(err, &refused) || errors.As(err, &hinted) || errors.As(err, &usage) || errors.Is(err, run.ErrNotHere) || cutRefusal(err)
}

// write plays one command of a person. It returns the change-set, or nil where
// nothing was written, and why.
func (w *world) write(m *machine, kill int, person simulate.ID, fn func(tx *changelog.Tx) error) (*simulate.Commit, string) {
	if !m.knew.Has(person.N) {
		return nil, "the person is not here"
	}
	m.arm(kill)
	var receipt changelog.Receipt
	var err error
	m.as(func() {
		receipt, err = m.log.Write(context.Background(), changelog.Author{Person: m.dot(person), Now: m.now()}, fn)
	})
	switch {
	case m.revive(err, true):
		return nil, "KILLED"
	case err != nil && !answered(err):
		w.fail("%s: %v", m.name, err)
	case err != nil:
		return nil, "refused: " + err.Error()
	case receipt.Seq == 0:
		return nil, "nothing to write"
	}
	c := w.book(m, receipt.Lane, receipt.Seq)
	text := fmt.Sprintf("%s/%d", w.lane(receipt.Lane), receipt.Seq)
	if receipt.Renewed {
		text += " (renewed)"
	}
	return c, text
}

var errKilled = errors.New("killed")

// arm lets the n-th write from now fail; the next revive tells whether it did.
func (m *machine) arm(n int) {
	if n == 0 {
		return
	}
	m.store.FailWrite = func() error {
		if n--; n > 0 {
			return nil
		}
		return errKilled
	}
}

// revive reopens a machine that was killed. What was to be written at once is there
// whole or not at all.
func (m *machine) revive(err error, atOnce bool) bool {
	m.store.FailWrite = nil
	if !errors.Is(err, errKilled) {
		return false
	}
	m.w.counts["kills"]++
	before := m.knew
	m.close()
	m.open()
	m.refresh()
	if atOnce && !before.Covers(m.knew) {
		m.w.fail("%s was killed in mid-write and kept part of it:%s", m.name, m.w.list(m.knew.Without(before)))
	}
	m.verify()
	return true
}

func (m *machine) verify() {
	var v *changelog.Verified
	var err error
	m.as(func() { v, err = m.log.Verify(context.Background()) })
	if err != nil {
		m.w.fail("%s: verify: %v", m.name, err)
	}
	if len(v.Faults) > 0 {
		m.w.fail("%s: verify: %v", m.name, v.Faults)
	}
	if v.Sets != m.knew.Count() {
		m.w.fail("%s: verify counts %d change-sets; the books have %d", m.name, v.Sets, m.knew.Count())
	}
}

// introduce makes a site known to a machine, and trusted.
func (w *world) introduce(m *machine, site int) {
	self := w.tmpl.selfs[site]
	m.raw(func(raw *schema.Tx) error {
		return m.log.Local(raw, func(tx *changelog.Tx) error {
			known, err := tx.AddSite(self.Public(), self.Code)
			if err != nil {
				return err
			}
			return tx.Trust(known.ID, true)
		})
	})
}

func marks(t *changelog.Taken) string {
	text := ""
	if t.Already {
		text += ", known already"
	}
	for _, gap := range t.Waiting {
		text += fmt.Sprintf(", waits for %s %d..%d", gap.Lane, gap.From, gap.To)
	}
	if len(t.Forked) > 0 {
		text += ", FORKED"
	}
	if t.Renewed {
		text += ", renewed"
	}
	return text
}

// keep copies a store aside.
func (m *machine) keep() {
	path := m.path + ".backup"
	if err := m.store.Copy(path); err != nil {
		m.w.fail("%s: copy: %v", m.name, err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		m.w.fail("%v", err)
	}
	os.Remove(path)
	m.backups = append(m.backups, backup{data, m.knew.Clone()})
	m.w.tell("%s keeps a backup", m.name)
}

// restore puts an old copy in place of the store: into the same file, which nobody
// can notice, or as a new file.
func (m *machine) restore(b backup, sameFile bool) {
	m.w.forked = true
	m.w.counts["restores"]++
	m.close()
	os.Remove(m.path + "-wal")
	os.Remove(m.path + "-shm")
	if !sameFile {
		if err := os.Rename(m.path, m.path+".old"); err != nil { // keeps its inode from being used again
			m.w.fail("%v", err)
		}
	}
	if err := os.WriteFile(m.path, b.data, 0o600); err != nil {
		m.w.fail("%v", err)
	}
	m.open()
	m.knew, m.pieces = nil, nil
	m.refresh()
	if !m.knew.Covers(b.knew) || !b.knew.Covers(m.knew) {
		m.w.fail("%s: a restored backup holds other change-sets than were kept", m.name)
	}
	m.w.tell("%s is RESTORED from a backup (same file %v)", m.name, sameFile)
}

// clone lets a copy of a store go on beside it.
func (w *world) clone(m *machine, b backup, unnoticed bool) {
	w.forked = true
	w.counts["clones"]++
	c := &machine{w: w, name: m.name + "'", site: m.site, path: fmt.Sprintf("%s.%d", m.path, len(w.machines)), skew: m.skew, old: m.old}
	if err := os.WriteFile(c.path, b.data, 0o600); err != nil {
		w.fail("%v", err)
	}
	mark := ""
	if unnoticed {
		mark = fileMark(c.path)
	}
	c.openAs(mark)
	c.refresh()
	w.machines = append(w.machines, c)
	w.tell("%s is a COPY of %s, and both go on (unnoticed %v)", c.name, m.name, unnoticed)
}

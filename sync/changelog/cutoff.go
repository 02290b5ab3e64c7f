package changelog

import (
	"crypto/ed25519"
	"fmt"
	"slices"

	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// Cutoff is the founder's word that nothing counts of a site but what leads to some
// heads of its lanes.
type Cutoff struct {
	Dot   clock.Dot
	Site  clock.SiteID
	Key   ed25519.PublicKey
	Code  string
	Heads []bundle.Head
	Proof []byte // the site's own signatures of the heads
	Why   string
}

// Cutoffs returns those that stand, in the order of their dots.
func (tx *Tx) Cutoffs() ([]Cutoff, error) {
	var list []Cutoff
	err := tx.Each(`SELECT dot, site, key, code, heads, proof, why FROM cutoff AS c
		WHERE NOT EXISTS (SELECT 1 FROM trust_void AS v WHERE v.target = c.dot) ORDER BY dot`, nil, func(scan func(...any) error) error {
		var c Cutoff
		var dot, key, heads []byte
		if err := scan(&dot, &c.Site, &key, &c.Code, &heads, &c.Proof, &c.Why); err != nil {
			return err
		}
		c.Key = key
		var err error
		if c.Dot, err = clock.DotFromKey(dot); err == nil {
			c.Heads, err = decodeHeads(c.Site, heads)
		}
		list = append(list, c)
		return err
	})
	return list, err
}

// applyCutoff stores the founder's cut-off. What makes no sense is left out, and so
// is one of the founder itself.
func (tx *Tx) applyCutoff(e *Entry) error {
	key := ed25519.PublicKey(e.Values[0].Text)
	site := SiteIDOf(key)
	if _, err := decodeHeads(site, []byte(e.Values[2].Text)); err != nil || len(key) != ed25519.PublicKeySize || site == tx.log.self.Founder() {
		return nil
	}
	tx.trustMoved = true
	return tx.Exec("INSERT INTO cutoff (dot, site, key, code, heads, proof, why) VALUES (?, ?, ?, ?, ?, ?, ?)",
		e.Dot.Key(), site, []byte(key), e.Values[1].Text, []byte(e.Values[2].Text), []byte(e.Values[3].Text), e.Values[4].Text)
}

// LaneCut is where one lane of a site is to be cut.
type LaneCut struct {
	Head bundle.Head // Seq 0: nothing of the lane stays
	Dot  clock.Dot   // of the last change-set that stays, as this store names it; zero if none
	// Doubt are the change-sets here that would count no more, in the order of their
	// names.
	Doubt     []clock.Dot
	statement []byte
}

// PlanCutoff says what a cut-off of a site would leave: of each lane what is here up
// to now, or up to the change-set named in after. Its confined lanes count no more at
// all, as the word of it goes to sites that are not to hear of them. A lane that is forked keeps the
// branch that leads to the named one; where none is named, the longest.
func (tx *Tx) PlanCutoff(site clock.SiteID, after []clock.Dot) ([]LaneCut, error) {
	table, err := tx.laneTable()
	if err != nil {
		return nil, err
	}
	ends := map[clock.Lane]clock.Dot{}
	for _, l := range table.all() {
		base := l.name.Base()
		if end, ok := ends[base]; l.name.Site == site && l.tip > 0 && !base.Confined() && (!ok || l.tip > end.Seq) {
			ends[base] = clock.Dot{Lane: l.name, Seq: l.tip}
		}
	}
	for _, dot := range after {
		here, err := tx.Here(dot)
		if err != nil {
			return nil, err
		}
		if dot.Site != site || !here || dot.Confined() {
			return nil, fmt.Errorf("%s is no change-set of that site that is here", tx.Name(dot))
		}
		ends[dot.Base()] = clock.Dot{Lane: dot.Lane, Seq: dot.Seq}
	}
	var cuts []LaneCut
	for _, end := range ends {
		c, err := tx.planLane(end)
		if err != nil {
			return nil, err
		}
		cuts = append(cuts, c)
	}
	slices.SortFunc(cuts, func(a, b LaneCut) int { return a.Head.Lane.Compare(b.Head.Lane) })
	return cuts, nil
}

func (tx *Tx) planLane(end clock.Dot) (LaneCut, error) {
	at := tx.lanes.byName[end.Lane]
	hash, err := tx.hashAt(at, end.Seq)
	if err != nil {
		return LaneCut{}, err
	}
	c := LaneCut{Head: bundle.Head{Lane: end.Base(), Seq: end.Seq, Hash: hash}, Dot: end}
	found, err := tx.Row("SELECT bytes FROM statement WHERE lane = ? AND seq = ?", []any{at.id, end.Seq}, &c.statement)
	if err != nil {
		return c, err
	}
	if !found {
		return c, tx.noSignedEnd(at, end)
	}
	limits := pathLimits(at, end.Seq)
	for _, l := range tx.lanes.byBase[end.Base()] {
		for seq := max(limits[l]+1, l.forkSeq); seq <= l.tip; seq++ {
			c.Doubt = append(c.Doubt, clock.Dot{Lane: l.name, Seq: seq})
		}
	}
	return c, nil
}

// noSignedEnd says where a lane can be cut: only where the site itself signed, as it
// does at the end of each bundle. Others could not pass on what lies between.
func (tx *Tx) noSignedEnd(at *lane, end clock.Dot) error {
	name := func(query string) string {
		var seq uint64
		if found, err := tx.Row(query, []any{at.id, end.Seq}, &seq); err != nil || !found || seq == 0 {
			return "none"
		}
		return tx.Name(clock.Dot{Lane: at.name, Seq: seq})
	}
	return &Refusal{What: fmt.Sprintf("%s lies within a bundle of its site, so nothing signed ends there", tx.Name(end)),
		Hint: fmt.Sprintf("cut where one of its bundles ended; before: %s, after: %s",
			name("SELECT coalesce(max(seq), 0) FROM statement WHERE lane = ? AND seq < ?"),
			name("SELECT coalesce(min(seq), 0) FROM statement WHERE lane = ? AND seq > ?"))}
}

// pathLimits returns the last number of each lane that lies on the way to number seq
// of a lane.
func pathLimits(at *lane, seq uint64) map[*lane]uint64 {
	limits := map[*lane]uint64{}
	for l := at.pathTo(seq); l != nil; l, seq = l.parent, l.forkSeq-1 {
		limits[l] = seq
	}
	return limits
}

// CutOff writes that nothing counts of a site but what a plan leaves. This site must
// be the founder.
func (tx *Tx) CutOff(s Site, cuts []LaneCut, why string) (clock.Dot, error) {
	if !tx.log.self.IsFounder() {
		return clock.Dot{}, ErrNotFounder
	}
	if s.ID == tx.log.self.Site {
		return clock.Dot{}, fmt.Errorf("the founder cannot be cut off: the campaign rests upon it")
	}
	var heads []bundle.Head
	var proof [][]byte
	for _, c := range cuts {
		if c.Head.Seq == 0 {
			continue
		}
		heads = append(heads, c.Head)
		if !slices.ContainsFunc(proof, func(p []byte) bool { return slices.Equal(p, c.statement) }) {
			proof = append(proof, c.statement)
		}
	}
	tx.SetClass(clock.Expedited)
	return tx.Add(change.New(kind.SiteCutoff, change.Bytes(s.Key), change.Text(s.Code), change.Bytes(encodeHeads(heads)),
		change.Bytes(encodeProof(proof)), change.Text(why))), nil
}

// mayWrite refuses to write at a site that was cut off: nobody would take it.
func (tx *Tx) mayWrite() error {
	b, err := tx.loadBounds()
	if _, bounded := b[tx.log.self.Site]; err == nil && bounded {
		return refuse("call the site that founded the campaign; to go on here set up a new site with a store and a key of its own: pulk init --join",
			"this site was cut off from the campaign: what it writes counts nowhere")
	}
	return err
}

// keepProof keeps the site's own signatures of the heads of a cut-off that are here:
// a store that took the site's change-sets in other bundles than the founder did has
// no signature that ends there, and could not pass them on.
func (tx *Tx) keepProof(c Cutoff) error {
	list, err := decodeProof(c.Proof)
	if err != nil {
		return nil // what makes no sense is left out
	}
	for _, bytes := range list {
		statement, err := decodeStatement(bytes)
		if err != nil || statement.Site != c.Site || !statement.Verify(c.Key) {
			continue
		}
		for _, head := range statement.Heads {
			l, err := tx.exactNode(head)
			if err != nil {
				return err
			}
			if l == nil || !slices.Contains(c.Heads, head) {
				continue
			}
			if err := tx.Exec("INSERT INTO statement (lane, seq, bytes) VALUES (?, ?, ?) ON CONFLICT DO NOTHING", l.id, head.Seq, bytes); err != nil {
				return err
			}
		}
	}
	return nil
}

// exactNode returns the lane that holds a head, or nil.
func (tx *Tx) exactNode(head bundle.Head) (*lane, error) {
	if head.Seq == 0 {
		return nil, nil
	}
	nodes, err := tx.nodes(head.Lane, head.Seq)
	for l, hash := range nodes {
		if hash == head.Hash {
			return l, err
		}
	}
	return nil, err
}

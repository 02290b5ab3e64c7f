package transfer

import (
	"time"

	"pulk/schema"
	"pulk/sync/clock"
	"pulk/sync/fragment"
)

// Bounds of the fragments that are kept. Beyond them the parcel goes first that
// has not grown for the longest: so that what is arriving stays, and whoever would
// push it out must send as much as there is room for in between.
const (
	keptFragments = 1 << 16
	keptFor       = 90 * 24 * time.Hour
	doneSets      = 1024     // of which late fragments are known
	extraBodies   = 256      // of a set, beside the latest of each place
	extraBytes    = 64 << 10 // in those, or an eighth of the parcel if that is more
)

var keptBytes = 64 << 20 // a variable for the test alone

// Bounds of what was sent and is kept to be sent again; the oldest goes first.
const (
	sentBytes   = 32 << 20
	sentParcels = 64
	sentFor     = 400 * 24 * time.Hour
)

// Set is a parcel of which fragments are here.
type Set struct {
	fragment.Cut
	Here    int          // places of which a fragment is here
	Sender  clock.SiteID // as the carrier has it; 0: not known
	FirstAt time.Time
	GrewAt  time.Time
	Done    bool   // it was taken
	Trouble string // why it was not taken, though enough is here

	id      int64
	lacking int
}

// Lacking returns how many more fragments are needed; 0 where enough are here.
func (s *Set) Lacking() int {
	return s.lacking
}

const setColumns = "id, name, data, parity, size, length, sender, first_at, grew_at, done, trouble"

func scanSet(scan func(...any) error) (Set, error) {
	var s Set
	var name []byte
	var first, grew int64
	err := scan(&s.id, &name, &s.Data, &s.Parity, &s.Size, &s.Length, &s.Sender, &first, &grew, &s.Done, &s.Trouble)
	copy(s.Name[:], name)
	s.FirstAt, s.GrewAt = time.UnixMilli(first).UTC(), time.UnixMilli(grew).UTC()
	return s, err
}

// setOf returns the set that a cut belongs to, and makes it if it is new. It does
// not count what is here.
func setOf(tx *schema.Tx, c fragment.Cut, sender clock.SiteID, now time.Time) (Set, error) {
	ms := now.UnixMilli()
	err := tx.Exec("INSERT INTO fragment_set (name, data, parity, size, length, sender, first_at, grew_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
		c.Name[:], c.Data, c.Parity, c.Size, c.Length, sender, ms, ms)
	if err != nil {
		return Set{}, err
	}
	var s Set
	err = tx.Each("SELECT "+setColumns+" FROM fragment_set WHERE name = ? AND data = ? AND parity = ? AND size = ? AND length = ?",
		[]any{c.Name[:], c.Data, c.Parity, c.Size, c.Length}, func(scan func(...any) error) (err error) { s, err = scanSet(scan); return err })
	return s, err
}

// sets returns the sets that a condition picks, with what is here of each.
func sets(tx *schema.Tx, where string, args ...any) ([]Set, error) {
	var list []Set
	err := tx.Each("SELECT "+setColumns+" FROM fragment_set "+where+" ORDER BY first_at, id", args, func(scan func(...any) error) error {
		s, err := scanSet(scan)
		list = append(list, s)
		return err
	})
	for i := range list {
		if err != nil || list[i].Done {
			continue
		}
		var there map[int]bool
		there, err = places(tx, &list[i])
		list[i].Here, list[i].lacking = len(there), list[i].Cut.Lacking(func(place int) bool { return there[place] })
	}
	return list, err
}

// places returns the places of a set of which a fragment is here.
func places(tx *schema.Tx, s *Set) (map[int]bool, error) {
	there := map[int]bool{}
	err := tx.Each("SELECT DISTINCT place FROM fragment WHERE owner = ?", []any{s.id}, func(scan func(...any) error) error {
		var place int
		err := scan(&place)
		there[place] = true
		return err
	})
	return there, err
}

// keep stores a fragment of a set as the latest for its place. again tells that
// this very fragment was here.
func keep(tx *schema.Tx, s Set, f *fragment.Fragment, now time.Time) (again bool, err error) {
	var ids []int64 // of others for this place, the latest first
	same := int64(0)
	err = tx.Each("SELECT id, body = ? FROM fragment WHERE owner = ? AND place = ? ORDER BY id DESC", []any{f.Body, s.id, f.Place}, func(scan func(...any) error) error {
		var id int64
		var equal bool
		err := scan(&id, &equal)
		if equal {
			same = id
		} else {
			ids = append(ids, id)
		}
		return err
	})
	if err != nil || same != 0 && len(ids) == 0 {
		return same != 0, err
	}
	drop := ids[min(len(ids), fragment.MaxVariants-1):]
	if same != 0 {
		drop = append(drop, same) // it comes back as the latest
	}
	for _, id := range drop {
		if err := tx.Exec("DELETE FROM fragment WHERE id = ?", id); err != nil {
			return false, err
		}
	}
	if err := tx.Exec("INSERT INTO fragment (owner, place, body) VALUES (?, ?, ?)", s.id, f.Place, f.Body); err != nil {
		return false, err
	}
	if len(ids) > 0 {
		if err := dropExtra(tx, s); err != nil {
			return false, err
		}
	}
	return same != 0, tx.Exec("UPDATE fragment_set SET grew_at = ? WHERE id = ?", now.UnixMilli(), s.id)
}

// dropExtra drops the oldest bodies beside the latest of each place, beyond what is
// kept of one set.
func dropExtra(tx *schema.Tx, s Set) error {
	return tx.Exec(`DELETE FROM fragment WHERE id IN (
		SELECT id FROM fragment AS f WHERE owner = ? AND id < (SELECT max(id) FROM fragment WHERE owner = f.owner AND place = f.place)
		ORDER BY id DESC LIMIT -1 OFFSET ?)`, s.id, min(extraBodies, max(extraBytes, s.Length/8)/s.Size+1))
}

// bound drops what there is no room for, and what is too old.
func bound(tx *schema.Tx, now time.Time) error {
	if err := tx.Exec("DELETE FROM fragment_set WHERE grew_at < ? AND done = 0", now.Add(-keptFor).UnixMilli()); err != nil {
		return err
	}
	if err := tx.Exec("DELETE FROM fragment_set WHERE done = 1 AND id NOT IN (SELECT id FROM fragment_set WHERE done = 1 ORDER BY grew_at DESC, id DESC LIMIT ?)", doneSets); err != nil {
		return err
	}
	var drop []int64
	bytes, count := 0, 0
	err := tx.Each(`SELECT s.id, count(f.id), coalesce(sum(length(f.body)), 0) FROM fragment_set AS s JOIN fragment AS f ON f.owner = s.id
		GROUP BY s.id ORDER BY s.grew_at DESC, s.id DESC`, nil, func(scan func(...any) error) error {
		var id int64
		var n, size int
		err := scan(&id, &n, &size)
		if bytes, count = bytes+size, count+n; bytes > keptBytes || count > keptFragments {
			drop = append(drop, id)
		}
		return err
	})
	for _, id := range drop {
		if err == nil {
			err = tx.Exec("DELETE FROM fragment_set WHERE id = ?", id)
		}
	}
	return err
}

// latest returns the body that came last for each place.
func latest(tx *schema.Tx, s Set) ([][]byte, error) {
	list := make([][]byte, s.Total())
	err := tx.Each("SELECT place, body FROM fragment WHERE id IN (SELECT max(id) FROM fragment WHERE owner = ? GROUP BY place)", []any{s.id}, func(scan func(...any) error) error {
		var place int
		var body []byte
		err := scan(&place, &body)
		list[place] = body
		return err
	})
	return list, err
}

// variants returns the bodies that are here for each place, the latest first, of
// which those are read already.
func variants(tx *schema.Tx, s Set, latest [][]byte) ([][][]byte, error) {
	list := make([][][]byte, s.Total())
	for place, body := range latest {
		if body != nil {
			list[place] = [][]byte{body}
		}
	}
	err := tx.Each(`SELECT place, body FROM fragment WHERE owner = ? AND id NOT IN (SELECT max(id) FROM fragment WHERE owner = ? GROUP BY place)
		ORDER BY id DESC`, []any{s.id, s.id}, func(scan func(...any) error) error {
		var place int
		var body []byte
		err := scan(&place, &body)
		list[place] = append(list[place], body)
		return err
	})
	return list, err
}

// finish marks a set as taken and drops its fragments.
func finish(tx *schema.Tx, s Set) error {
	if err := tx.Exec("DELETE FROM fragment WHERE owner = ?", s.id); err != nil {
		return err
	}
	return tx.Exec("UPDATE fragment_set SET done = 1, trouble = '' WHERE id = ?", s.id)
}

// setTrouble notes why a set was not taken.
func setTrouble(tx *schema.Tx, s Set, why string) error {
	return tx.Exec("UPDATE fragment_set SET trouble = ? WHERE id = ?", why, s.id)
}

// missingOf returns the request for what a set lacks. Where enough is here and yet
// it does not make the parcel, something here is false, and as much as is needed is
// asked for from the start.
func missingOf(tx *schema.Tx, s Set) (fragment.Request, error) {
	there := map[int]bool{}
	if s.Lacking() > 0 {
		var err error
		if there, err = places(tx, &s); err != nil {
			return fragment.Request{}, err
		}
	}
	request, _ := s.Missing(func(place int) bool { return there[place] })
	return request, nil
}

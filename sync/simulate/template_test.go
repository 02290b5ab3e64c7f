package simulate_test

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"github.com/google/uuid"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/simulate"
)

const sitesMax = 8

var siteCodes = [sitesMax]string{"home", "stn", "ship", "hut", "camp", "quay", "depot", "shore"}

var simStart = time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)

func projections() []changelog.Projector {
	return append([]changelog.Projector{crew.Projection{}, procedure.Projection{}, run.Projection{}}, stockProjections()...)
}

var crewList = []struct {
	code, name string
	roles      []string
}{
	{"lena", "Lena Fors", []string{"release-authority", "quality", "deployment-lead", "technician"}},
	{"oskar", "Oskar Venn", []string{"quality", "release-authority"}},
	{"ida", "Ida Brekke", []string{"deployment-lead", "technician", "quality"}},
	{"tomas", "Tomas Quill", []string{"drill-engineer"}},
	{"mirre", "Mirre Aalto", []string{"technician"}},
	{"piet", "Piet Marr", []string{"cargo-officer"}},
}

// procedures are small ones of every step kind: %s is the revision.
var procedures = []string{
	`id: lower
title: Lower a module
revision: %s
roles: [quality, release-authority]
hazards:
  - {name: load, caution: Stay clear of the load.}
steps:
  - {id: "10", kind: do, text: Rig it.}
  - {id: "20", kind: reading, text: Measure., reading: {quantity: insulation, unit: MOhm, limits: {min: 10, max: 90}, repeat: 1}}
  - {id: "30", kind: confirm, text: Is it dry?}
  - {id: "40", kind: hold, text: Ready., sign: {role: quality, people: 1}}
  - {id: "50", kind: record, text: Note it., record: {what: text, label: winch}}
  - {id: "60", kind: hold, text: Release., sign: {role: release-authority, people: 2}}
  - {id: "70", kind: do, text: Lower it., irreversible: true, cautions: [It cannot come back.]}
  - {id: "80", kind: do, text: Tidy up.}
`, `id: seal
title: Seal a module
revision: %s
roles: [quality, technician, deployment-lead]
hazards:
  - {name: glass, caution: Wear goggles.}
steps:
  - {id: "10", kind: reading, text: Measure., reading: {quantity: leak, unit: Pa, limits: {max: 50}, repeat: 2}}
  - {id: "20", kind: witness, text: Watch., sign: {role: technician, people: 1}}
  - {id: "30", kind: confirm, text: Is it clean?, after: ["10"]}
  - {id: "40", kind: hold, text: Go., sign: {role: quality, people: 1}}
  - {id: "50", kind: confirm, text: Is it sealed?, irreversible: true, cautions: [It stays shut.]}
  - {id: "60", kind: reading, text: Measure., reading: {quantity: vacuum, unit: Pa, limits: {min: 1}}}
  - {id: "70", kind: hold, text: Done., sign: {role: deployment-lead, people: 1}}
`}

func procedureText(n int, revision string) []byte { return fmt.Appendf(nil, procedures[n], revision) }

// template is what every season starts from: stores that have been set up once, to
// be copied.
type template struct {
	primed [sitesMax][]byte // has heard of the others, of crew and procedures
	// primedOld is the same as the program of the earlier version has it.
	primedOld [sitesMax][]byte
	bare      [sitesMax][]byte // a site that joins late
	knew      [sitesMax]simulate.Bits
	knewBare  [sitesMax]simulate.Bits
	selfs     [sitesMax]changelog.Identity
	history   *simulate.History
	keys      map[simulate.ID]ed25519.PrivateKey // by the change that made it known
	keyOf     map[simulate.ID]simulate.ID        // by person
	persons   []simulate.ID
	parsed    map[string]*procedure.Procedure // by digest
}

var theTemplate = sync.OnceValue(func() *template {
	t := &template{history: simulate.NewHistory(), keys: map[simulate.ID]ed25519.PrivateKey{}, keyOf: map[simulate.ID]simulate.ID{}}
	if err := t.build(); err != nil {
		panic(err)
	}
	return t
})

func (t *template) build() error {
	dir, err := os.MkdirTemp("", "pulk-simulate-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	w := &world{tmpl: t, h: t.history, dir: dir, now: simStart, m: newModel(t.history)}
	versions.RLock()
	defer versions.RUnlock()
	for i := range sitesMax {
		if err := t.initSite(w, i); err != nil {
			return err
		}
	}
	for i, m := range w.machines {
		m.close()
		if t.bare[i], err = os.ReadFile(m.path); err != nil {
			return err
		}
		m.open()
		t.knewBare[i] = m.knew.Clone()
	}
	for i := range w.machines {
		for j := range w.machines {
			if i != j {
				w.introduce(w.machines[i], j)
			}
		}
	}
	if err := t.setUp(w, w.machines[0]); err != nil {
		return err
	}
	for i, m := range w.machines {
		if i > 0 {
			w.exchange(w.machines[0], m)
		}
	}
	size := 100
	for _, from := range w.machines {
		for _, to := range w.machines {
			if from != to {
				size = w.acknowledge(from, to, size-4)
			}
		}
	}
	for i, m := range w.machines {
		m.close()
		if t.primed[i], err = os.ReadFile(m.path); err != nil {
			return err
		}
		t.knew[i] = m.knew.Clone()
		m.old = true
		m.open()
		m.close()
		if t.primedOld[i], err = os.ReadFile(m.path); err != nil {
			return err
		}
	}
	return nil
}

func (t *template) initSite(w *world, i int) error {
	path := filepath.Join(w.dir, siteCodes[i]+".db")
	store, err := schema.Create(path, schema.Scratch)
	if err != nil {
		return err
	}
	var seed [32]byte
	seed[0] = byte(i)
	var campaign uuid.UUID // home founds it
	if i != founder {
		campaign = t.selfs[founder].Campaign
	}
	log, err := changelog.Init(context.Background(), store, changelog.Start{Campaign: campaign, CampaignName: "Vindur Deep",
		Code: siteCodes[i], Name: siteCodes[i], Now: simStart, Rand: rand.NewChaCha8(seed)}, (&machine{}).projectors()...)
	if err != nil {
		return err
	}
	t.selfs[i] = log.Self()
	m := &machine{w: w, name: siteCodes[i], site: i, path: path, store: store, log: log}
	w.machines = append(w.machines, m)
	w.book(m, clock.Lane{Site: log.Self().Site}, 1)
	return nil
}

// setUp writes what the whole campaign starts with.
func (t *template) setUp(w *world, home *machine) error {
	var err error
	write := func(fn func(tx *changelog.Tx) error) int {
		receipt, failed := home.log.Write(context.Background(), changelog.Author{Now: w.now}, fn)
		if failed != nil {
			err = failed
			return 0
		}
		return w.book(home, receipt.Lane, receipt.Seq).N
	}
	var persons, keys []clock.Dot
	n := write(func(tx *changelog.Tx) error {
		for _, c := range crewList {
			id, err := crew.Add(tx, c.code, c.name, c.roles)
			if err != nil {
				return err
			}
			private := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{c.name[0]}, ed25519.SeedSize))
			persons, keys = append(persons, id), append(keys, crew.AddKey(tx, id, private.Public().(ed25519.PublicKey)))
		}
		return nil
	})
	for i := range persons {
		person, key := simulate.ID{N: n, Index: int(persons[i].Index)}, simulate.ID{N: n, Index: int(keys[i].Index)}
		w.m.persons = append(w.m.persons, person)
		t.keyOf[person] = key
		t.keys[key] = ed25519.NewKeyFromSeed(bytes.Repeat([]byte{crewList[i].name[0]}, ed25519.SeedSize))
	}
	for _, source := range [][]byte{procedureText(0, "A"), procedureText(1, "A")} {
		write(func(tx *changelog.Tx) error {
			p, problems := procedure.Parse("p", source)
			if procedure.HasErrors(problems) {
				return fmt.Errorf("%v", problems)
			}
			w.m.learnText(source, p)
			_, _, err := procedure.Import(tx, p, source)
			return err
		})
	}
	t.persons, t.parsed = w.m.persons, w.m.parsed
	for _, name := range []string{"lower", "seal"} {
		write(func(tx *changelog.Tx) error {
			revision, err := procedure.Find(tx, name)
			if err != nil {
				return err
			}
			_, err = run.Start(tx, revision, clock.Dot{}, clock.Dot{}, "")
			return err
		})
	}
	write(func(tx *changelog.Tx) error {
		var places []clock.Dot
		for _, code := range []string{"store", "hut", "hold"} {
			places = append(places, tx.Add(change.New(kind.LocationAdd, change.Text(code), change.Text(code), change.Value{})))
		}
		return setUpStock(tx, places)
	})
	return err
}

// exchange carries all that one machine has to another. It is for the set-up: it
// fails on any error.
func (w *world) exchange(from, to *machine) {
	made, err := from.log.Make(context.Background(), changelog.Request{To: to.id(), Now: w.now})
	if err != nil {
		w.fail("set-up: %v", err)
	}
	if _, err := to.log.Take(context.Background(), made.Data, bundle.DefaultLimits, w.now); err != nil {
		w.fail("set-up: %v", err)
	}
	to.refresh()
}

// acknowledge tells one machine what another has, and brings nothing. It returns
// the size of the bundle, which it looks for from a smaller size on.
func (w *world) acknowledge(from, to *machine, size int) int {
	for ; ; size++ {
		made, err := from.log.Make(context.Background(), changelog.Request{To: to.id(), Now: w.now, MaxBytes: size})
		if err != nil {
			continue // not even the header fits
		}
		if _, err := to.log.Take(context.Background(), made.Data, bundle.DefaultLimits, w.now); err != nil || made.Sets > 0 {
			w.fail("set-up: %d change-sets, %v", made.Sets, err)
		}
		return size
	}
}

// place puts a copy of a template's store into the world.
func (t *template) place(w *world, i int, late bool) *machine {
	data, knew := t.primed[i], t.knew[i]
	if late {
		data, knew = t.bare[i], t.knewBare[i]
	}
	old := w.old != nil && w.old[i]
	if old && !late {
		data = t.primedOld[i]
	}
	m := &machine{w: w, name: siteCodes[i], site: i, old: old, late: late, path: filepath.Join(w.dir, fmt.Sprintf("%s-%d.db", siteCodes[i], len(w.machines)))}
	if err := os.WriteFile(m.path, data, 0o600); err != nil {
		w.fail("%v", err)
	}
	m.openAs(fileMark(m.path))
	m.refresh()
	if !m.knew.Covers(knew) || !knew.Covers(m.knew) {
		w.fail("a template's copy differs from it")
	}
	return m
}

// fileMark is what a store remembers of its file, so that a copy is known as one.
func fileMark(path string) string {
	info, err := os.Stat(path)
	if err != nil {
		panic(err)
	}
	return fmt.Sprintf("inode %d", info.Sys().(*syscall.Stat_t).Ino)
}

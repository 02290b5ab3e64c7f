package main

import (
	"context"
	"crypto/ed25519"
	"io/fs"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/checklist/crew"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/inventory/unit"
	"pulk/schema"
	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/testdata"
)

// story plays a day at a station and a home institute with the domain's own
// functions, on a clock that only moves when the story says so.
type story struct {
	testing.TB
	now    time.Time
	sites  map[string]*changelog.Log
	keys   map[string]ed25519.PrivateKey
	people map[string]clock.Dot
	run    clock.Dot
}

// storyDay is the day of the story.
var storyDay = time.Date(2027, 1, 5, 0, 0, 0, 0, time.UTC)

func newStory(tb testing.TB) *story {
	s := &story{TB: tb, now: storyDay.Add(-15 * time.Hour), sites: map[string]*changelog.Log{}, keys: map[string]ed25519.PrivateKey{}, people: map[string]clock.Dot{}}
	source := rand.NewChaCha8([32]byte{7})
	for _, site := range []struct{ code, name string }{{"home", "Tarn Institute"}, {"stn", "Vindur Plateau Camp"}, {"ship", "MV Sella"}} {
		store, err := schema.Create(filepath.Join(tb.TempDir(), site.code+".db"), schema.Scratch)
		s.must(err)
		tb.Cleanup(func() { store.Close() })
		s.sites[site.code], err = changelog.Init(context.Background(), store, changelog.Start{Campaign: uuid.UUID{0x51, 0xd0}, CampaignName: "Vindur Deep",
			Code: site.code, Name: site.name, Now: s.now, Rand: source}, projections()...)
		s.must(err)
	}
	for _, here := range s.sites {
		for _, code := range []string{"home", "stn", "ship"} {
			self := s.sites[code].Self()
			s.must(here.Store().Update(context.Background(), func(raw *schema.Tx) error {
				return here.Local(raw, func(tx *changelog.Tx) error {
					if _, err := tx.AddSite(self.Public(), code); err != nil {
						return err
					}
					return tx.Trust(self.Site, true)
				})
			}))
		}
	}
	for _, p := range []struct {
		code, name string
		roles      []string
	}{{"ida", "Ida Brekke", []string{"deployment-lead"}}, {"tomas", "Tomas Quill", []string{"drill-engineer"}}, {"mirre", "Mirre Aalto", []string{"technician"}},
		{"oskar", "Oskar Venn", []string{"quality"}}, {"lena", "Lena Fors", []string{"release-authority"}}} {
		public, private, err := ed25519.GenerateKey(source)
		s.must(err)
		s.keys[p.code] = private
		s.write("home", "", func(tx *changelog.Tx) error {
			s.people[p.code], err = crew.Add(tx, p.code, p.name, p.roles)
			return err
		})
		s.write("home", p.code, func(tx *changelog.Tx) error { crew.AddKey(tx, s.people[p.code], public); return nil })
	}
	return s
}

func (s *story) must(err error) {
	if err != nil {
		s.Helper()
		s.Fatal(err)
	}
}

func (s *story) after(d time.Duration) { s.now = s.now.Add(d) }

func (s *story) write(site, person string, fn func(tx *changelog.Tx) error) {
	s.Helper()
	_, err := s.sites[site].Write(context.Background(), changelog.Author{Person: s.people[person], Now: s.now}, fn)
	s.must(err)
}

// carry brings a site everything that another has for it.
func (s *story) carry(from, to string) {
	s.Helper()
	made, err := s.sites[from].Make(context.Background(), changelog.Request{To: s.sites[to].Self().Site, Now: s.now})
	s.must(err)
	s.after(2 * time.Minute)
	_, err = s.sites[to].Take(context.Background(), made.Data, bundle.DefaultLimits, s.now)
	s.must(err)
}

// do runs fn on the story's run.
func (s *story) do(site, person string, fn func(tx *changelog.Tx, d *run.Doing) error) {
	s.Helper()
	s.write(site, person, func(tx *changelog.Tx) error {
		me, err := crew.Get(tx, s.people[person])
		if err != nil {
			return err
		}
		d, err := run.Open(tx, me, s.run)
		if err != nil {
			return err
		}
		return fn(tx, d)
	})
}

// step carries out a step of the run by id, with values for readings and records.
func (s *story) step(person, id string, values ...string) {
	s.Helper()
	s.after(time.Duration(90+7*len(id)) * time.Second)
	s.do("stn", person, func(tx *changelog.Tx, d *run.Doing) error {
		n, err := d.Number(id)
		if err != nil {
			return err
		}
		_, err = check(tx, d, n, values, "")
		return err
	})
}

func (s *story) sign(site, person, id string, verdict run.Verdict) {
	s.Helper()
	s.do(site, person, func(tx *changelog.Tx, d *run.Doing) error {
		n, err := d.Number(id)
		if err != nil {
			return err
		}
		me, err := crew.Get(tx, s.people[person])
		if err != nil {
			return err
		}
		return d.Sign(n, verdict, run.Signer{Key: me.Keys[0].ID, Sign: func(m []byte) []byte { return ed25519.Sign(s.keys[person], m) }})
	})
}

// nc returns the last nonconformance of the run at a site.
func (s *story) nc(site string) (id clock.Dot) {
	s.Helper()
	s.must(s.sites[site].View(context.Background(), func(tx *changelog.Tx) error {
		list, err := run.Nonconformances(tx)
		id = list[len(list)-1].Entry.Dot
		return err
	}))
	return id
}

// begin prepares the campaign, the day before.
func (s *story) begin() {
	source, err := fs.ReadFile(testdata.FS, "procedures/borehole-lowering.yaml")
	s.must(err)
	p, problems := procedure.Parse("borehole-lowering.yaml", source)
	if procedure.HasErrors(problems) {
		s.Fatal(problems)
	}
	s.write("home", "oskar", func(tx *changelog.Tx) error { _, _, err := procedure.Import(tx, p, source); return err })
	s.write("home", "oskar", func(tx *changelog.Tx) error {
		cable := tx.Add(change.New(kind.ItemAdd, change.Text("STR-001"), change.Text("String cable on drum"), change.Text("string"), change.Text("each"),
			change.Num(1), change.Num(1_940_000), change.Num(0), change.Num(0), change.Num(0), change.Num(0), change.Text(""), change.Num(0), change.Num(0)))
		for _, serial := range []string{"SC-0007", "SC-0008"} {
			tx.Add(change.New(kind.UnitAdd, change.Ref(cable), change.Text(serial), change.Text(""), change.Value{}, change.Text("released")))
		}
		tester := tx.Add(change.New(kind.ItemAdd, change.Text("TOL-004"), change.Text("Insulation tester 50 to 1000 V"), change.Text("tool"), change.Text("each"),
			change.Num(1), change.Num(1_400), change.Num(0), change.Num(0), change.Num(0), change.Num(0), change.Text(""), change.Num(0), change.Num(0)))
		id := tx.Add(change.New(kind.UnitAdd, change.Ref(tester), change.Text("INS-04"), change.Text(""), change.Value{}, change.Text("accepted")))
		calibration := unit.Calibration{Certificate: "26-0613", Calibrated: "2026-06-14", Due: "2027-06-30",
			Statements: []unit.Statement{{Unit: "MOhm", Absolute: decimal.Decimal{Mantissa: 2}, Percent: decimal.Decimal{Mantissa: 3}, Coverage: decimal.Decimal{Mantissa: 2}}}}
		_, err := unit.Calibrate(tx, &unit.Unit{ID: id, Serial: "INS-04"}, calibration)
		return err
	})
	s.carry("home", "stn")
	s.now = storyDay.Add(5*time.Hour + 40*time.Minute)
	s.write("stn", "ida", func(tx *changelog.Tx) error {
		revision, err := procedure.Find(tx, "borehole-lowering")
		if err != nil {
			return err
		}
		s.run, err = run.Start(tx, revision, clock.Dot{}, clock.Dot{}, "Hole 3, string 2")
		return err
	})
}

// morning is what the crew does before the string may go down.
func (s *story) morning() {
	s.step("ida", "10")
	s.step("ida", "20")
	s.step("mirre", "30", "-9.5")
	s.step("mirre", "40", "12") // over 9 ppm
	s.after(20 * time.Minute)
	faulty := s.nc("stn")
	s.write("stn", "ida", func(tx *changelog.Tx) error {
		me, err := crew.Get(tx, s.people["ida"])
		if err != nil {
			return err
		}
		return run.Dispose(tx, me, faulty, run.Rework, "heater moved out of the hut; measure again after 15 min")
	})
	s.step("mirre", "40", "3")
	for _, step := range [][]string{{"50"}, {"60", "2.5"}, {"70", "541"}, {"80"}, {"90"}, {"100", "10.2"}, {"110"}} {
		s.step("tomas", step[0], step[1:]...)
	}
	s.after(11 * time.Minute)
	s.step("tomas", "110")
	s.step("tomas", "120", "1")
	s.step("mirre", "130", "SC-0008")
	mistaken := s.lastOf("130")
	s.after(4 * time.Minute)
	s.do("stn", "mirre", func(_ *changelog.Tx, d *run.Doing) error {
		return d.Void(mistaken, "read off the drum next to it")
	})
	s.step("mirre", "130", "SC-0007")
	s.step("mirre", "140", "1510", "1490", "1530", "with", "INS-04")
	s.step("mirre", "150")
	s.step("tomas", "160")
	s.step("tomas", "170", "2.25")
	s.do("stn", "tomas", func(tx *changelog.Tx, d *run.Doing) error {
		n, err := d.Number("170")
		if err != nil {
			return err
		}
		return d.Note(n, `load cell <new> & "zeroed" before the reading`)
	})
}

// lastOf returns the last entry about a step.
func (s *story) lastOf(id string) (dot clock.Dot) {
	s.Helper()
	s.must(s.sites["stn"].View(context.Background(), func(tx *changelog.Tx) error {
		record, err := run.Load(tx, s.run)
		if err != nil {
			return err
		}
		state := run.Evaluate(record)
		n, _ := state.StepByID(id)
		entries := state.Steps[n].Entries
		dot = entries[len(entries)-1].Dot
		return nil
	}))
	return dot
}

// stockAndUnits is what the store room writes.
func (s *story) stockAndUnits() {
	var item, place, unit clock.Dot
	s.write("stn", "mirre", func(tx *changelog.Tx) error {
		item = tx.Add(change.New(kind.ItemAdd, change.Text("CHM-004"), change.Text("Grease, cold, 400 g"), change.Text("chemicals"), change.Text("each"),
			change.Num(0), change.Num(430), change.Num(0), change.Num(0), change.Num(0), change.Num(730), change.Text(""), change.Num(0), change.Num(0)))
		place = tx.Add(change.New(kind.LocationAdd, change.Text("drill-hut"), change.Text("Drill hut"), change.Value{}))
		tx.Add(change.New(kind.StockReceive, change.Ref(item), change.Text("B-0417"), change.Ref(place), change.Num(6), change.Text("2027-02-20"), change.Text("")))
		return nil
	})
	s.after(5 * time.Minute)
	s.write("stn", "mirre", func(tx *changelog.Tx) error {
		tx.Add(change.New(kind.StockIssue, change.Ref(item), change.Text("B-0417"), change.Ref(place), change.Num(4), change.Num(6), change.Ref(s.run), change.Num(16), change.Text("")))
		tx.AssignInt(item, kind.FieldItemMinimum, "", 3, "")
		unit = tx.Add(change.New(kind.UnitAdd, change.Ref(item), change.Text("SM3-0107"), change.Text(""), change.Ref(place), change.Text("released")))
		return nil
	})
	s.after(time.Minute)
	s.write("stn", "tomas", func(tx *changelog.Tx) error {
		tx.Add(change.New(kind.UnitFail, change.Ref(unit), change.Num(312), change.Text("no answer on the bench"), change.Ref(s.run), change.Text("failed")))
		return nil
	})
}

// evening is what home signs without having heard of a fault, and how it crosses.
func (s *story) evening() {
	s.carry("stn", "home")
	s.after(30 * time.Minute)
	s.write("stn", "tomas", func(tx *changelog.Tx) error {
		_, err := run.RaiseNC(tx, s.run, 15, clock.Dot{}, "cable jacket cut 3 m above the connector")
		return err
	})
	s.after(10 * time.Minute)
	s.sign("home", "oskar", "180", run.Go)
	s.after(5 * time.Minute)
	s.sign("home", "lena", "190", run.Go)
	s.conflict()
	s.carry("home", "stn")
	s.now = storyDay.Add(17*time.Hour + 30*time.Minute)
}

// conflict has both sites give one field a value.
func (s *story) conflict() {
	for _, x := range []struct {
		site, person string
		value        clock.Dot
	}{{"stn", "ida", s.people["tomas"]}, {"home", "lena", s.people["ida"]}} {
		s.write(x.site, x.person, func(tx *changelog.Tx) error {
			tx.AssignRef(s.run, kind.FieldRunOwner, "", x.value, "")
			return nil
		})
	}
	s.write("stn", "", func(tx *changelog.Tx) error { // of a run that is not here yet
		far := clock.Dot{Lane: clock.Lane{Site: s.sites["ship"].Self().Site}, Seq: 9}
		tx.Add(change.New(kind.RunNote, change.Ref(far), change.Num(0), change.Text("heard by radio")))
		return nil
	})
}

// tell plays the whole story.
func (s *story) tell() *story {
	s.begin()
	s.morning()
	s.stockAndUnits()
	s.evening()
	return s
}

var storyZone = time.FixedZone("", 3*60*60)

// report makes a site's report of a day.
func (s *story) report(site string, day time.Time) *dayReport {
	s.Helper()
	var report *dayReport
	s.must(s.sites[site].View(context.Background(), func(tx *changelog.Tx) (err error) {
		report, err = buildDayReport(tx, day, s.now, storyZone)
		return err
	}))
	return report
}

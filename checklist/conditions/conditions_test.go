package conditions_test

import (
	"context"
	"errors"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"pulk/checklist/conditions"
	"pulk/checklist/crew"
	"pulk/checklist/filled"
	"pulk/checklist/procedure"
	"pulk/checklist/run"
	"pulk/schema"
	"pulk/schema/decimal"
	"pulk/schema/fault"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

var start = time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)

// camp is a campaign of three sites: home founded it, home and stn are named for what is
// confined, ship is not.
type camp struct {
	t               testing.TB
	home, stn, ship *changelog.Log
	ida, runa       clock.Dot
	plateau, collar clock.Dot
	lower           clock.Dot // a run at the collar
	noPlace         clock.Dot // another of no place
	now             time.Time
}

const winch = `id: winch
title: Moving the winch
revision: A
roles: [quality]
hazards: [{name: cold, caution: Work in pairs.}]
steps:
  - {id: "10", kind: do, text: Carry it., outdoor: true, heavy: true, needs: [cold-weather, height]}
  - {id: "20", kind: confirm, text: Is the brake on?, outdoor: true}
  - {id: "30", kind: wait, text: Let it settle., minutes: 300, outdoor: true}
  - {id: "40", kind: hold, text: Go., sign: {role: quality, people: 1}, needs: [height]}
`

func projections() []changelog.Projector {
	return []changelog.Projector{crew.Projection{}, crew.Personal{}, procedure.Projection{}, run.Projection{}, conditions.Projection{}}
}

func newCamp(t testing.TB) *camp {
	t.Helper()
	c := &camp{t: t, now: start}
	var logs []*changelog.Log
	campaign := uuid.Nil
	for i, code := range []string{"home", "stn", "ship"} {
		store, err := schema.Create(filepath.Join(t.TempDir(), code+".db"), schema.Scratch)
		c.must(err)
		t.Cleanup(func() { store.Close() })
		log, err := changelog.Init(context.Background(), store, changelog.Start{Campaign: campaign, CampaignName: "Vindur Deep", Code: code, Name: code,
			Now: start, Rand: rand.NewChaCha8([32]byte{byte(i)})}, projections()...)
		c.must(err)
		campaign = log.Self().Campaign
		logs = append(logs, log)
	}
	c.home, c.stn, c.ship = logs[0], logs[1], logs[2]
	for _, a := range logs {
		for _, b := range logs {
			if a != b {
				self := b.Self()
				c.must(a.Store().Update(context.Background(), func(raw *schema.Tx) error {
					return a.Local(raw, func(tx *changelog.Tx) error {
						s, err := tx.AddSite(self.Public(), self.Code)
						if err != nil {
							return err
						}
						return tx.Trust(s.ID, true)
					})
				}))
			}
		}
	}
	c.write(c.home, clock.Dot{}, func(tx *changelog.Tx) error {
		for _, id := range []clock.SiteID{c.home.Self().Site, c.stn.Self().Site} {
			s, _, err := tx.SiteByID(id)
			if err != nil {
				return err
			}
			if _, err := tx.NameSite(s, true, ""); err != nil {
				return err
			}
		}
		return nil
	})
	c.write(c.home, clock.Dot{}, func(tx *changelog.Tx) (err error) {
		if c.ida, err = crew.Add(tx, "ida", "Ida Brekke", []string{"quality"}); err != nil {
			return err
		}
		if c.runa, err = crew.Add(tx, "runa", "Runa Vik", []string{crew.MedicalRole, crew.TrainingRole}); err != nil {
			return err
		}
		c.plateau = tx.Add(change.New(kind.LocationAdd, change.Text("plateau"), change.Text("plateau"), change.Value{}))
		c.collar = tx.Add(change.New(kind.LocationAdd, change.Text("collar"), change.Text("collar"), change.Ref(c.plateau)))
		tx.AssignText(c.plateau, kind.FieldLocationElevation, "", "3233", "")
		p, problems := procedure.Parse("p", []byte(winch))
		if procedure.HasErrors(problems) {
			t.Fatal(problems)
		}
		_, _, err = procedure.Import(tx, p, []byte(winch))
		return err
	})
	c.write(c.home, clock.Dot{}, func(tx *changelog.Tx) error {
		revision, err := procedure.Find(tx, "winch")
		if err != nil {
			return err
		}
		if c.lower, err = run.Start(tx, revision, clock.Dot{}, c.collar, ""); err != nil {
			return err
		}
		c.noPlace, err = run.Start(tx, revision, clock.Dot{}, clock.Dot{}, "")
		return err
	})
	c.spread()
	return c
}

func (c *camp) must(err error) {
	c.t.Helper()
	if err != nil {
		c.t.Fatal(err)
	}
}

func (c *camp) try(log *changelog.Log, person clock.Dot, fn func(tx *changelog.Tx) error) error {
	_, err := log.Write(context.Background(), changelog.Author{Person: person, Now: c.now}, fn)
	return err
}

func (c *camp) write(log *changelog.Log, person clock.Dot, fn func(tx *changelog.Tx) error) {
	c.t.Helper()
	c.must(c.try(log, person, fn))
}

// spread lets every site tell every other all, twice.
func (c *camp) spread() {
	c.t.Helper()
	for range 2 {
		for _, from := range []*changelog.Log{c.home, c.stn, c.ship} {
			for _, to := range []*changelog.Log{c.home, c.stn, c.ship} {
				if from == to {
					continue
				}
				made, err := from.Make(context.Background(), changelog.Request{To: to.Self().Site, Now: c.now})
				c.must(err)
				_, err = to.Take(context.Background(), made.Data, bundle.DefaultLimits, c.now)
				c.must(err)
			}
		}
	}
}

func (c *camp) weather(log *changelog.Log, place clock.Dot, celsius, wind string, at time.Time, valid time.Duration) (id clock.Dot, err error) {
	err = c.try(log, c.ida, func(tx *changelog.Tx) (err error) {
		w := conditions.Weather{Location: place, At: at, Valid: valid}
		if w.Celsius, err = decimal.Parse(celsius); err != nil {
			return err
		}
		if w.MetresPerSecond, err = decimal.Parse(wind); err != nil {
			return err
		}
		id, err = conditions.Add(tx, w)
		return err
	})
	return id, err
}

// step enters step n of a run as ida.
func (c *camp) step(log *changelog.Log, id clock.Dot, n int) error {
	return c.try(log, c.ida, func(tx *changelog.Tx) error {
		me, err := crew.Get(tx, c.ida)
		if err != nil {
			return err
		}
		d, err := run.Open(tx, me, id)
		if err != nil {
			return err
		}
		if d.Steps[n].Step.Kind == procedure.KindWait {
			_, _, err := d.Wait(n)
			return err
		}
		return d.Check(n)
	})
}

func (c *camp) clear(log *changelog.Log, by clock.Dot, cl crew.Clearance) error {
	return c.try(log, by, func(tx *changelog.Tx) error {
		me, err := crew.Get(tx, by)
		if err != nil {
			return err
		}
		ida, err := crew.Get(tx, c.ida)
		if err != nil {
			return err
		}
		_, err = crew.SetClearance(tx, me, ida, cl)
		return err
	})
}

// wantRefused fails unless an error is a refusal by a rule that says all of some words.
func wantRefused(t testing.TB, what string, err error, words ...string) {
	t.Helper()
	var refused *fault.Refused
	if !errors.As(err, &refused) {
		t.Errorf("%s: %v; want a refusal by a rule of the work", what, err)
		return
	}
	for _, word := range words {
		if !strings.Contains(err.Error(), word) {
			t.Errorf("%s: %q does not say %q", what, err, word)
		}
	}
}

// made ready is all that step 10 asks for: weather, rest, trainings and clearances.
func (c *camp) makeReady() {
	c.t.Helper()
	c.write(c.stn, c.ida, func(tx *changelog.Tx) error {
		_, err := crew.Arrive(tx, c.ida, c.plateau, 3233, c.now)
		return err
	})
	c.must(c.clear(c.stn, c.runa, crew.Clearance{Code: "cold-weather", Valid: true, Until: "2027-11-30"}))
	c.must(c.clear(c.stn, c.runa, crew.Clearance{Code: "height", Sort: crew.Medical, Valid: true, Until: "2027-01-20"}))
	c.now = c.now.Add(72 * time.Hour)
	_, err := c.weather(c.stn, c.plateau, "-30", "4", c.now, 2*time.Hour)
	c.must(err)
}

func TestStepIsHeldToItsConditions(t *testing.T) {
	c := newCamp(t)
	wantRefused(t, "nothing is known", c.step(c.stn, c.lower, 0), "no weather", "no arrival", "needs cold-weather, height")
	wantRefused(t, "a run of no place", c.step(c.stn, c.noPlace, 1), "names no place")
	c.makeReady()
	c.must(c.step(c.stn, c.lower, 0))
	c.must(c.step(c.stn, c.lower, 1))
	c.now = c.now.Add(2 * time.Hour)
	wantRefused(t, "weather that is over", c.step(c.stn, c.lower, 2), "no weather")
	_, err := c.weather(c.stn, c.collar, "-20", "3", c.now, time.Hour)
	c.must(err)
	c.must(c.step(c.stn, c.lower, 2)) // begins to wait
	c.now = c.now.Add(6 * time.Hour)
	c.must(c.step(c.stn, c.lower, 2)) // and is not asked again when the time is over
}

// Whatever the clocks say, and whoever may know what is confined: once it is entered a
// step is done at every site alike, by the same facts.
func TestStateIsTheSameEverywhere(t *testing.T) {
	c := newCamp(t)
	c.makeReady()
	c.must(c.step(c.stn, c.lower, 0))
	c.spread()
	wantRefused(t, "a site that is not named", c.step(c.ship, c.noPlace, 0), "needs cold-weather, height", "no arrival")
	var digests []changelog.Digest
	for _, log := range []*changelog.Log{c.home, c.stn, c.ship} {
		c.must(log.View(context.Background(), func(tx *changelog.Tx) error {
			d, err := tx.Digest()
			if err != nil {
				return err
			}
			digests = append(digests, d)
			record, err := run.Load(tx, c.lower)
			if err != nil {
				return err
			}
			state := run.Evaluate(record)
			if !state.Steps[0].Done {
				t.Errorf("%s: step 10 is not done", log.Self().Code)
			}
			by, err := conditions.AllowedBy(tx, c.lower)
			if err != nil {
				return err
			}
			a, ok := by[conditions.DeedOf(state.Steps[0].Entries[0].Dot, 0)]
			if !ok || a.Weather == nil || a.WindChill != "-41.2" || a.FrostbiteMinutes != 5 || a.WorkMinutes != 55 || !a.Rested || !slices.Equal(a.Needs, []string{"cold-weather", "height"}) {
				t.Errorf("%s: allowed by %+v", log.Self().Code, a)
			}
			return nil
		}))
	}
	if digests[0] != digests[1] || digests[0] != digests[2] {
		t.Errorf("digests %v", digests)
	}
	for _, c2 := range []struct {
		log  *changelog.Log
		want int
	}{{c.home, 2}, {c.stn, 2}, {c.ship, 0}} {
		c.must(c2.log.View(context.Background(), func(tx *changelog.Tx) error {
			list, err := crew.Clearances(tx, c.ida)
			if len(list) != c2.want {
				t.Errorf("%s has %d clearances; want %d", c2.log.Self().Code, len(list), c2.want)
			}
			return err
		}))
	}
}

// A clearance ends with its last day, may be taken away by anybody, and of two words
// that had not seen each other the more careful one stands at every named site.
func TestClearances(t *testing.T) {
	c := newCamp(t)
	wantRefused(t, "without the role", c.clear(c.stn, c.ida, crew.Clearance{Code: "height", Sort: crew.Medical, Valid: true, Until: "2027-03-31"}), crew.MedicalRole)
	c.must(c.clear(c.home, c.runa, crew.Clearance{Code: "height", Sort: crew.Medical, Valid: true, Until: "2027-03-31"}))
	c.must(c.clear(c.stn, c.ida, crew.Clearance{Code: "height"}))
	c.must(c.clear(c.home, c.runa, crew.Clearance{Code: "cold-weather", Valid: true, Until: "2027-03-31"}))
	c.must(c.clear(c.stn, c.runa, crew.Clearance{Code: "cold-weather", Valid: true, Until: "2027-02-28"}))
	c.spread()
	for _, log := range []*changelog.Log{c.home, c.stn} {
		c.must(log.View(context.Background(), func(tx *changelog.Tx) error {
			list, err := crew.Clearances(tx, c.ida)
			if err != nil {
				return err
			}
			if len(list) != 2 || list[0].Until != "2027-02-28" || !list[0].Disputed || list[1].Valid || !list[1].Disputed {
				t.Errorf("%s: %+v; want the earlier day, and withdrawn", log.Self().Code, list)
			}
			day := func(text string) time.Time { at, _ := time.Parse(time.DateTime, text); return at }
			if !list[0].Holds(day("2027-02-28 23:59:59")) || list[0].Holds(day("2027-03-01 00:00:00")) || list[1].Holds(start) {
				t.Errorf("%s: a clearance holds too long or too short", log.Self().Code)
			}
			return nil
		}))
	}
	for log, want := range map[*changelog.Log]int{c.home: 2, c.stn: 2, c.ship: 0} {
		c.must(log.View(context.Background(), func(tx *changelog.Tx) error {
			conflicts, err := tx.Conflicts()
			if len(conflicts) != want {
				t.Errorf("%s shows %d conflicts; want %d: %+v", log.Self().Code, len(conflicts), want, conflicts)
			}
			return err
		}))
	}
	// Who has seen both settles it.
	c.must(c.clear(c.home, c.runa, crew.Clearance{Code: "height", Sort: crew.Medical, Valid: true, Until: "2027-01-31"}))
	c.spread()
	c.must(c.stn.View(context.Background(), func(tx *changelog.Tx) error {
		list, err := crew.Clearances(tx, c.ida)
		if len(list) != 2 || !list[1].Valid || list[1].Disputed {
			t.Errorf("settled: %+v", list)
		}
		return err
	}))
}

// What stands on paper is judged by the weather of its time; outside the limits it takes
// a reason.
func TestPaperIsJudgedByItsTime(t *testing.T) {
	c := newCamp(t)
	take := func(id clock.Dot, written filled.When, why string) (taken bool, err error) {
		err = c.try(c.stn, c.runa, func(tx *changelog.Tx) error {
			me, err := crew.Get(tx, c.runa)
			if err != nil {
				return err
			}
			d, err := run.Open(tx, me, id)
			if err != nil {
				return err
			}
			taken, err = d.FromPaper(1, run.Paper{Writer: c.ida, Written: written, Answer: "yes", Why: why}, func() error { return d.Check(1) })
			return err
		})
		return taken, err
	}
	c.must(func() error { _, err := c.weather(c.stn, c.plateau, "-10", "4", c.now, time.Hour); return err }())
	c.now = c.now.Add(26 * time.Hour)
	_, err := take(c.lower, "2027-01-06T07:30Z", "")
	wantRefused(t, "when no weather counted", err, "no weather")
	if taken, err := take(c.lower, "2027-01-05T06:30Z", ""); err != nil || !taken {
		t.Errorf("when weather counted: taken %t, %v", taken, err)
	}
	_, err = take(c.noPlace, "2027-01-05T06:30Z", "")
	wantRefused(t, "of no place", err, "names no place")
	if taken, err := take(c.noPlace, "2027-01-05T06:30Z", "the crate was open"); err != nil || !taken {
		t.Errorf("with a reason: taken %t, %v", taken, err)
	}
	c.must(c.stn.View(context.Background(), func(tx *changelog.Tx) error {
		by, err := conditions.AllowedBy(tx, c.lower)
		if len(by) > 0 {
			t.Errorf("what was done on paper says that it was allowed: %+v", by)
		}
		return err
	}))
}

func TestArrivalsCount(t *testing.T) {
	c := newCamp(t)
	c.makeReady()
	var second clock.Dot
	c.write(c.stn, c.ida, func(tx *changelog.Tx) (err error) {
		second, err = crew.Arrive(tx, c.ida, c.plateau, 4000, c.now)
		return err
	})
	wantRefused(t, "767 m higher", c.step(c.stn, c.lower, 0), "came to 4000 m", "no heavy work before")
	c.write(c.stn, c.ida, func(tx *changelog.Tx) error { return crew.VoidPersonal(tx, second) }) // it was somebody else
	c.must(c.step(c.stn, c.lower, 0))
	for what, at := range map[string]struct {
		metres int64
		at     time.Time
	}{"too high": {9000, c.now}, "to come": {3233, c.now.Add(time.Hour)}} {
		err := c.try(c.stn, c.ida, func(tx *changelog.Tx) error {
			_, err := crew.Arrive(tx, c.ida, clock.Dot{}, at.metres, at.at)
			return err
		})
		var usage *fault.Usage
		if !errors.As(err, &usage) {
			t.Errorf("%s: %v", what, err)
		}
	}
}

// Where the place is known to be low nobody is asked for an arrival.
func TestLowPlacesAskForNoArrival(t *testing.T) {
	c := newCamp(t)
	c.must(c.clear(c.stn, c.runa, crew.Clearance{Code: "cold-weather", Valid: true, Until: "2027-11-30"}))
	c.must(c.clear(c.stn, c.runa, crew.Clearance{Code: "height", Sort: crew.Medical, Valid: true, Until: "2027-01-20"}))
	_, err := c.weather(c.stn, c.plateau, "5", "4", c.now, 2*time.Hour)
	c.must(err)
	wantRefused(t, "at 3233 m", c.step(c.stn, c.lower, 0), "no arrival")
	c.write(c.stn, c.ida, func(tx *changelog.Tx) error {
		tx.AssignText(c.collar, kind.FieldLocationElevation, "", "2499.9", "")
		return nil
	})
	c.must(c.step(c.stn, c.lower, 0))
}

func TestWeatherThatCounts(t *testing.T) {
	c := newCamp(t)
	at := func(place clock.Dot, now time.Time) (w *conditions.Weather) {
		t.Helper()
		c.must(c.stn.View(context.Background(), func(tx *changelog.Tx) (err error) { w, err = conditions.At(tx, place, now); return err }))
		return w
	}
	early, err := c.weather(c.stn, c.plateau, "-30", "4", c.now.Add(-30*time.Minute), 2*time.Hour)
	c.must(err)
	late, err := c.weather(c.stn, c.plateau, "-28.5", "4", c.now.Add(-10*time.Minute), time.Hour)
	c.must(err)
	for _, q := range []struct {
		what string
		at   time.Time
		want clock.Dot
	}{
		{"before the first", c.now.Add(-31 * time.Minute), clock.Dot{}}, {"between", c.now.Add(-20 * time.Minute), early},
		{"the later one", c.now, late}, {"the later one is over", c.now.Add(50 * time.Minute), early}, {"both are", c.now.Add(90 * time.Minute), clock.Dot{}},
	} {
		w := at(c.collar, q.at) // within the plateau
		if got := (clock.Dot{}); w != nil {
			got = w.ID
			if got != q.want {
				t.Errorf("%s: %v; want %v", q.what, got, q.want)
			}
		} else if q.want != got {
			t.Errorf("%s: none; want %v", q.what, q.want)
		}
	}
	c.write(c.stn, c.ida, func(tx *changelog.Tx) error { return conditions.Void(tx, late, "iced") })
	if w := at(c.plateau, c.now); w == nil || w.ID != early {
		t.Errorf("after the later one was voided: %+v", w)
	}
	own, err := c.weather(c.stn, c.collar, "-25", "1", c.now.Add(-20*time.Minute), time.Hour)
	c.must(err)
	if w := at(c.collar, c.now); w == nil || w.ID != own || w.Celsius.String() != "-25" {
		t.Errorf("what was read at the very place counts first: %+v", w)
	}
	for what, bad := range map[string][4]string{
		"no temperature": {"-96", "4"}, "no wind": {"-30", "-1"}, "a hurricane": {"-30", "116"},
	} {
		if _, err := c.weather(c.stn, c.plateau, bad[0], bad[1], c.now, time.Hour); err == nil {
			t.Errorf("%s is taken", what)
		}
	}
	for what, bad := range map[string]struct {
		at    time.Time
		valid time.Duration
	}{"to come": {c.now.Add(time.Hour), time.Hour}, "for days": {c.now, 13 * time.Hour}, "for nothing": {c.now, 0}, "over": {c.now.Add(-3 * time.Hour), time.Hour}} {
		if _, err := c.weather(c.stn, c.plateau, "-30", "4", bad.at, bad.valid); err == nil {
			t.Errorf("%s is taken", what)
		}
	}
}

// What another program wrote may be any number: it is shown, and allows nothing that the
// limits do not.
func TestWeatherOfAnotherProgram(t *testing.T) {
	c := newCamp(t)
	rapid.Check(t, func(rt *rapid.T) {
		number := func(name string) change.Value {
			return change.Value{Num: rapid.Int64().Draw(rt, name), Scale: uint8(rapid.IntRange(0, decimal.MaxScale).Draw(rt, name+"_scale"))}
		}
		c.write(c.stn, c.ida, func(tx *changelog.Tx) error {
			tx.Add(change.New(kind.WeatherAdd, change.Ref(c.collar), number("celsius"), number("wind"), change.Num(rapid.Int64Range(0, 1<<63-1).Draw(rt, "observed")),
				change.Num(rapid.Int64Range(0, 1<<63-1).Draw(rt, "valid")), change.Text("x")))
			return nil
		})
		c.must(c.stn.View(context.Background(), func(tx *changelog.Tx) error {
			list, err := conditions.List(tx, c.collar)
			for i := range list {
				w := &list[i]
				if w.Until().Sub(w.At) > conditions.MaxValid || w.Until().Before(w.At) {
					rt.Fatalf("%s counts from %s to %s", tx.Name(w.ID), w.At, w.Until())
				}
			}
			return err
		}))
	})
}

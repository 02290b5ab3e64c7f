package assembly_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"

	"pulk/inventory/assembly"
	"pulk/inventory/stock"
	"pulk/inventory/unit"
	"pulk/schema"
	"pulk/schema/decimal"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// pair is two sites with one string and some modules.
type pair struct {
	rapid.TB
	now  time.Time
	logs [2]*changelog.Log
}

var background = context.Background()

func newPair(t *rapid.T, folder string) *pair {
	p := &pair{TB: t, now: time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)}
	source := rand.NewChaCha8([32]byte{7})
	for i, code := range []string{"home", "stn"} {
		store, err := schema.Create(filepath.Join(folder, code+".db"), schema.Scratch)
		p.must(err)
		t.Cleanup(func() { store.Close() })
		p.logs[i], err = changelog.Init(background, store, changelog.Start{Campaign: uuid.UUID{5}, CampaignName: "Vindur Deep", Code: code, Name: code, Now: p.now, Rand: source},
			stock.Projection{}, unit.Projection{}, assembly.Projection{})
		p.must(err)
	}
	for i, here := range p.logs {
		other := p.logs[1-i].Self()
		p.must(here.Store().Update(background, func(raw *schema.Tx) error {
			return here.Local(raw, func(tx *changelog.Tx) error {
				if _, err := tx.AddSite(other.Public(), other.Code); err != nil {
					return err
				}
				return tx.Trust(other.Site, true)
			})
		}))
	}
	p.must(p.try(0, func(tx *changelog.Tx) error {
		for _, part := range []string{"SM3-001", "STR-001", "STR-018"} {
			tx.Add(change.New(kind.ItemAdd, change.Text(part), change.Text(part), change.Text(""), change.Text("each"), change.Num(1),
				change.Num(0), change.Num(0), change.Num(0), change.Num(0), change.Num(0), change.Text(""), change.Num(0), change.Num(0)))
		}
		_, err := stock.AddLocation(tx, "hut", "", clock.Dot{})
		return err
	}))
	for serial, part := range map[string]string{"STG": "STR-001", "BOX": "STR-018", "M1": "SM3-001", "M2": "SM3-001", "M3": "SM3-001"} {
		p.must(p.try(0, func(tx *changelog.Tx) error {
			it, err := stock.FindItem(tx, part)
			if err != nil {
				return err
			}
			hut, err := stock.FindLocation(tx, "hut")
			if err != nil {
				return err
			}
			_, err = unit.Add(tx, it, serial, "", hut.ID)
			return err
		}))
	}
	p.meet()
	return p
}

func (p *pair) must(err error) {
	if err != nil {
		p.Fatal(err)
	}
}

func (p *pair) try(site int, fn func(tx *changelog.Tx) error) error {
	p.now = p.now.Add(time.Hour)
	_, err := p.logs[site].Write(background, changelog.Author{Now: p.now}, fn)
	return err
}

// act has one site try something; a refusal changes nothing, so it is none of a failure.
func (p *pair) act(t *rapid.T, site int) {
	slot := rapid.SampledFrom([]string{"1", "2", "3"}).Draw(t, "slot")
	serial := rapid.SampledFrom([]string{"M1", "M2", "M3", "BOX"}).Draw(t, "unit")
	channel := rapid.SampledFrom([]string{"", "c1", "c2"}).Draw(t, "channel")
	depth, err := decimal.Parse(rapid.SampledFrom([]string{"1.0", "2", "3.25"}).Draw(t, "depth"))
	p.must(err)
	what := rapid.SampledFrom([]string{"fit", "fit", "fit", "unfit", "built", "plan"}).Draw(t, "act")
	_ = p.try(site, func(tx *changelog.Tx) error {
		str, err := unit.FindBySerial(tx, "STG")
		if err != nil {
			return err
		}
		a, err := assembly.Load(tx, str)
		if err != nil {
			return err
		}
		f := assembly.Fitting{Slot: slot, Channel: channel, Depth: &depth, Step: -1}
		switch what {
		case "fit":
			u, err := unit.FindBySerial(tx, serial)
			if err != nil {
				return err
			}
			return assembly.Fit(tx, a, u, f)
		case "built":
			return assembly.SetBuilt(tx, a, f, "measured again")
		case "plan":
			parts := map[string]string{"c1": "SM3-001", "c2": "STR-018"}
			_, err := assembly.SetPlan(tx, a, &assembly.Plan{Slots: []assembly.Slot{{Name: "1", Channel: "c1", Part: parts[channel]}, {Name: "2"}}}, "another plan")
			return err
		}
		hut, err := stock.FindLocation(tx, "hut")
		if err != nil {
			return err
		}
		_, err = assembly.Unfit(tx, a, slot, hut, "wrong")
		return err
	})
}

// meet carries what each site has to the other.
func (p *pair) meet() {
	for range 2 {
		for i := range p.logs {
			made, err := p.logs[i].Make(background, changelog.Request{To: p.logs[1-i].Self().Site, Now: p.now})
			p.must(err)
			_, err = p.logs[1-i].Take(background, made.Data, bundle.DefaultLimits, p.now)
			p.must(err)
		}
	}
}

// tell is all that a site says of the string, and its conflicts.
func (p *pair) tell(site int) (text string, conflicts []changelog.Conflict) {
	var b strings.Builder
	p.must(p.logs[site].View(background, func(tx *changelog.Tx) error {
		str, err := unit.FindBySerial(tx, "STG")
		if err != nil {
			return err
		}
		a, err := assembly.Load(tx, str)
		if err != nil {
			return err
		}
		fmt.Fprintf(&b, "plan contested %v, filled %d\n", a.PlanContested, a.Fitted())
		for _, at := range a.Positions {
			fmt.Fprintf(&b, "slot %s part %s:", at.Slot.Name, at.Slot.Part)
			for _, u := range at.Units {
				fmt.Fprintf(&b, " %s (%s)", u.Serial, u.Dot)
			}
			depth := ""
			if at.Built.Depth != nil {
				depth = at.Built.Depth.String()
			}
			fmt.Fprintf(&b, " depth %s channel %s %v %v\n", depth, at.Built.Channel, at.Built.Contested, at.Deviations)
		}
		conflicts, err = tx.Conflicts()
		for _, c := range conflicts {
			fmt.Fprintf(&b, "conflict %s: %s, %d sides\n", c.Kind, c.What, len(c.Sides))
		}
		return err
	}))
	return b.String(), conflicts
}

// Whatever two sites do, apart and together: once all has arrived both say the same of
// the string. And while one site alone acts there is no conflict and nothing twice.
func TestTwoSitesAgree(t *testing.T) {
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		p := newPair(rt, t.TempDir())
		alone := rapid.Bool().Draw(rt, "alone")
		for range rapid.IntRange(3, 14).Draw(rt, "acts") {
			site := 0
			if !alone {
				site = rapid.IntRange(0, 1).Draw(rt, "site")
			}
			p.act(rt, site)
			if rapid.IntRange(0, 4).Draw(rt, "meet") == 0 {
				p.meet()
			}
		}
		p.meet()
		home, conflicts := p.tell(0)
		if stn, _ := p.tell(1); home != stn {
			rt.Fatalf("home says\n%s\nstn says\n%s", home, stn)
		}
		// A plan that comes after the fact can ask for another part than is there.
		conflicts = slices.DeleteFunc(conflicts, func(c changelog.Conflict) bool { return c.Kind == "unit not of the part planned" })
		if alone && (len(conflicts) > 0 || strings.Contains(home, " too")) {
			rt.Fatalf("one site alone made a conflict:\n%s", home)
		}
	})
}

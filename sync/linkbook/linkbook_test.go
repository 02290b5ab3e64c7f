package linkbook

import (
	"context"
	"crypto/rand"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/link"
)

var start = time.Date(2027, 1, 5, 6, 0, 0, 0, time.UTC)

func newSite(t *testing.T, code string) *changelog.Log {
	t.Helper()
	store, err := schema.Create(filepath.Join(t.TempDir(), code+".db"), schema.Scratch)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	ctx := context.Background()
	identity := changelog.Start{Campaign: uuid.UUID{1, 2, 3}, CampaignName: "Vindur Deep", Code: code, Name: code, Now: start, Rand: rand.Reader}
	if _, err := changelog.Init(ctx, store, identity); err != nil {
		t.Fatal(err)
	}
	log, err := changelog.Open(ctx, store, Projection{})
	if err != nil {
		t.Fatal(err)
	}
	return log
}

func write(t *testing.T, log *changelog.Log, fn func(tx *changelog.Tx) error) {
	t.Helper()
	if _, err := log.Write(context.Background(), changelog.Author{Now: start}, fn); err != nil {
		t.Fatal(err)
	}
}

func view(t *testing.T, log *changelog.Log, fn func(tx *changelog.Tx) error) {
	t.Helper()
	if err := log.View(context.Background(), fn); err != nil {
		t.Fatal(err)
	}
}

// meet makes two sites trust each other.
func meet(t *testing.T, a, b *changelog.Log) {
	t.Helper()
	for _, pair := range [][2]*changelog.Log{{a, b}, {b, a}} {
		log, other := pair[0], pair[1].Self()
		err := log.Store().Update(context.Background(), func(raw *schema.Tx) error {
			return log.Local(raw, func(tx *changelog.Tx) error {
				site, err := tx.AddSite(other.Public(), other.Code)
				if err != nil {
					return err
				}
				return tx.Trust(site.ID, true)
			})
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

func carry(t *testing.T, from, to *changelog.Log) {
	t.Helper()
	made, err := from.Make(context.Background(), changelog.Request{To: to.Self().Site, Now: start})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := to.Take(context.Background(), made.Data, bundle.DefaultLimits, start); err != nil {
		t.Fatal(err)
	}
}

func evening(t *testing.T) map[string]string {
	t.Helper()
	src, err := os.ReadFile(linksFolder + "evening-sat.yaml")
	if err != nil {
		t.Fatal(err)
	}
	f, problems := ParseFile("evening-sat.yaml", src)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	return f.Settings
}

func elements(t *testing.T) []link.Elements {
	t.Helper()
	text, err := os.ReadFile("../../testdata/checks/sgp4_passes_elements.tle")
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(text), "\n")
	sets, err := link.ParseElements([]byte(strings.Join(lines[1:], "\n")), link.AcceptWrongChecksums)
	if err != nil {
		t.Fatal(err)
	}
	return sets
}

// The station describes its link; home sees it, and sends elements up, of which the
// latest count whatever the order in which they come.
func TestLinkBetweenTwoSites(t *testing.T) {
	stn, home := newSite(t, "stn"), newSite(t, "home")
	meet(t, stn, home)
	write(t, stn, func(tx *changelog.Tx) error {
		_, err := Add(tx, "evening-sat", "Modem", home.Self().Site, evening(t))
		return err
	})
	carry(t, stn, home)
	sets := elements(t)
	older := sets[0]
	older.Epoch = older.Epoch.Add(-48 * time.Hour)
	write(t, home, func(tx *changelog.Tx) error {
		l, err := Find(tx, "evening-sat")
		if err != nil {
			return err
		}
		added, err := AddElements(tx, l, sets[:2])
		if len(added) != 2 {
			t.Errorf("added %d sets", len(added))
		}
		return err
	})
	write(t, stn, func(tx *changelog.Tx) error { // has not heard of home's
		l, err := Find(tx, "evening-sat")
		if err != nil {
			return err
		}
		_, err = AddElements(tx, l, []link.Elements{older})
		return err
	})
	carry(t, home, stn)
	carry(t, stn, home)
	for _, log := range []*changelog.Log{stn, home} {
		view(t, log, func(tx *changelog.Tx) error {
			list, err := Between(tx, home.Self().Site, stn.Self().Site)
			if err != nil {
				return err
			}
			if len(list) != 1 || list[0].Name != "Modem" || list[0].From != stn.Self().Site || list[0].To != home.Self().Site || len(list[0].Satellites) != 2 {
				t.Fatalf("%s has %+v", log.Self().Code, list)
			}
			for _, s := range list[0].Satellites {
				if s.Elements != sets[0] && s.Elements != sets[1] {
					t.Errorf("%s has elements %+v", log.Self().Code, s)
				}
			}
			d, err := link.Describe(list[0].Settings)
			if err != nil {
				return err
			}
			if age, ok := list[0].Oldest(d, sets[0].Epoch.Add(10*24*time.Hour)); !ok || age < 9*24*time.Hour {
				t.Errorf("the oldest are %s old", age)
			}
			added, err := AddElements(tx, list[0], append(sets[:2:2], older))
			if len(added) != 0 {
				t.Errorf("what is known is added again: %v", added)
			}
			return err
		})
	}
}

// A setting that two sites gave different values does not count, and is listed; a
// removed link is in no list.
func TestSettingsInConflictAndRemoval(t *testing.T) {
	stn, home := newSite(t, "stn"), newSite(t, "home")
	meet(t, stn, home)
	write(t, stn, func(tx *changelog.Tx) error {
		_, err := Add(tx, "evening-sat", "", home.Self().Site, evening(t))
		return err
	})
	carry(t, stn, home)
	for loss, log := range map[string]*changelog.Log{"5": stn, "9": home} {
		write(t, log, func(tx *changelog.Tx) error {
			l, err := Find(tx, "evening-sat")
			if err != nil {
				return err
			}
			changed, err := Set(tx, l, map[string]string{"loss_percent": loss, "mask": l.Settings["mask"]})
			if len(changed) != 1 || changed[0] != "loss_percent" {
				t.Errorf("changed %v", changed)
			}
			return err
		})
	}
	carry(t, stn, home)
	view(t, home, func(tx *changelog.Tx) error {
		l, err := Find(tx, "evening-sat")
		if err != nil {
			return err
		}
		if _, stands := l.Settings["loss_percent"]; stands || len(l.Contested) != 1 || l.Contested[0] != "loss_percent" {
			t.Errorf("settings %v, contested %v", l.Settings, l.Contested)
		}
		conflicts, err := tx.Conflicts()
		if len(conflicts) != 1 || conflicts[0].Field.Field != kind.FieldLinkSetting {
			t.Errorf("conflicts %+v", conflicts)
		}
		return err
	})
	write(t, home, func(tx *changelog.Tx) error {
		l, err := Find(tx, "evening-sat")
		if err == nil {
			Remove(tx, l, "the modem is broken")
		}
		return err
	})
	view(t, home, func(tx *changelog.Tx) error {
		if l, err := Find(tx, "evening-sat"); err == nil {
			t.Errorf("removed, and found: %+v", l)
		}
		return nil
	})
}

func TestTwoLinksWithOneCode(t *testing.T) {
	stn, home := newSite(t, "stn"), newSite(t, "home")
	meet(t, stn, home)
	for log, to := range map[*changelog.Log]*changelog.Log{stn: home, home: stn} {
		write(t, log, func(tx *changelog.Tx) error {
			_, err := Add(tx, "mail", "", to.Self().Site, evening(t))
			return err
		})
	}
	carry(t, stn, home)
	view(t, home, func(tx *changelog.Tx) error {
		conflicts, err := tx.Conflicts()
		if len(conflicts) != 1 || conflicts[0].ID != "link-code:mail" || len(conflicts[0].Sides) != 2 {
			t.Fatalf("conflicts %+v", conflicts)
		}
		if _, err := Find(tx, "mail"); err == nil {
			t.Error("a code of two links finds one")
		}
		if _, err := Find(tx, tx.Name(conflicts[0].Sides[0].Dot)); err != nil {
			t.Error(err)
		}
		return err
	})
}

func TestAddRefuses(t *testing.T) {
	stn, home := newSite(t, "stn"), newSite(t, "home")
	view(t, stn, func(tx *changelog.Tx) error {
		for name, c := range map[string]struct {
			code string
			to   clock.SiteID
			drop string
		}{
			"code":    {"Evening Sat", home.Self().Site, ""},
			"itself":  {"mail", stn.Self().Site, ""},
			"missing": {"mail", home.Self().Site, "open"},
		} {
			settings := evening(t)
			delete(settings, c.drop)
			if _, err := Add(tx, c.code, "", c.to, settings); err == nil {
				t.Errorf("%s: no error", name)
			}
		}
		return nil
	})
}

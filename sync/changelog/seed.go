package changelog

import (
	"context"
	"fmt"

	"pulk/sync/bundle"
	"pulk/sync/clock"
)

// Seed packs all history for a new site, in as many bundles as it takes, each of at
// most MaxBytes, or as large as the format packs well. It is a [Log.Make] for each, which
// starts behind what those before carry; so a seed that is lost is sent again by the
// next ordinary bundle. put is told each in order, and its error ends the work.
func (l *Log) Seed(ctx context.Context, request Request, put func(n int, made *Made) error) error {
	behind := clock.Vector{}
	behind.Merge(request.Behind)
	request.wellPacked = true
	for n := 1; ; n++ {
		request.Behind = behind
		made, err := l.Make(ctx, request)
		if err != nil {
			return err
		}
		if made.Sets == 0 && made.Left > 0 {
			return fmt.Errorf("%w: the next change-set alone takes more than %d bytes", bundle.ErrTooLarge, request.MaxBytes)
		}
		if made.Sets == 0 && n > 1 {
			return nil
		}
		if err := put(n, made); err != nil || made.Left == 0 {
			return err
		}
		behind.Merge(made.Carried)
	}
}

// Unvouched returns the sites whose changes are here and that a new site would not
// believe: neither the founder, nor introduced or cut off by it. The new site would
// refuse what they wrote. Who it is that gives it the seed it compares by voice.
func (tx *Tx) Unvouched() ([]Site, error) {
	table, err := tx.laneTable()
	if err != nil {
		return nil, err
	}
	with := map[clock.SiteID]bool{}
	for _, l := range table.byName {
		with[l.name.Site] = true
	}
	list, err := tx.Introductions()
	if err != nil {
		return nil, err
	}
	for _, in := range list {
		delete(with, in.Site)
	}
	cut, err := tx.loadBounds()
	if err != nil {
		return nil, err
	}
	for id := range cut {
		delete(with, id)
	}
	delete(with, tx.log.self.Site)
	delete(with, tx.log.self.Founder())
	sites, err := tx.Sites()
	var missing []Site
	for _, s := range sites {
		if with[s.ID] {
			missing = append(missing, s)
		}
	}
	return missing, err
}

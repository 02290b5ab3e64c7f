package main

import (
	"fmt"
	"slices"
	"time"

	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// addSites tells how far this store and every other site are.
func (b *dayBuilder) addSites([]changelog.Recorded) error {
	peers, err := b.tx.Peers()
	if err != nil {
		return err
	}
	gaps, err := b.tx.Gaps()
	if err != nil {
		return err
	}
	heads, err := b.tx.Heads()
	if err != nil {
		return err
	}
	for _, p := range peers {
		row := daySite{Code: p.Code, Trusted: p.Trusted, HeardAt: someTime(p.HeardAt), WroteAt: someTime(p.WroteAt), Waiting: p.Waiting,
			Lacking: p.Lacking, SkewSeconds: int64(p.Skew.Seconds()), Gaps: []string{}}
		var newest clock.Stamp
		for lane, tip := range heads {
			if lane.Site != p.ID || lane.Confined() { // reports are passed around
				continue
			}
			row.Here += tip
			info, err := b.tx.Info(clock.Dot{Lane: lane, Seq: tip})
			if err != nil {
				return err
			}
			newest = max(newest, info.At)
		}
		if newest > 0 {
			row.NewestAt = someTime(second(newest))
			row.AgeSeconds = int64(b.report.MadeAt.Sub(second(newest)).Seconds())
		}
		for _, gap := range gaps {
			if gap.Lane.Site == p.ID && !gap.Lane.Confined() {
				row.Gaps = append(row.Gaps, fmt.Sprintf("%s numbers %d to %d", b.tx.LaneName(gap.Lane), gap.From, gap.To))
			}
		}
		slices.Sort(row.Gaps)
		b.report.Sites = append(b.report.Sites, row)
	}
	return nil
}

func someTime(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC().Truncate(time.Second)
	return &t
}

// addLate counts what was written on earlier days and came from elsewhere on this
// one: those days' reports are worth reading again.
func (b *dayBuilder) addLate([]changelog.Recorded) error {
	found := map[string]int{}
	err := b.tx.EachCameBetween(b.from, b.to, func(r changelog.Recorded) error {
		if r.Dot.Site != b.tx.Self().Site && r.At < clock.StampAt(b.from) {
			found[r.At.Time().Format(time.DateOnly)]++
		}
		return nil
	})
	for date, n := range found {
		b.report.Late = append(b.report.Late, dayLate{date, n})
	}
	slices.SortFunc(b.report.Late, func(x, y dayLate) int {
		if x.Date > y.Date {
			return -1
		}
		return 1
	})
	return err
}

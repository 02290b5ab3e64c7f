package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"pulk/checklist/attach"
	"pulk/schema/fault"
	"pulk/sync/changelog"
	"pulk/sync/clock"
	"pulk/sync/link"
	"pulk/sync/linkbook"
)

// trafficDays is how many days past say what is written in the days ahead.
const trafficDays = 14

// trafficDaysFew is below how many days past the forecast says that they are few.
const trafficDaysFew = 4

// queueJSON is pulk link queue --json.
type queueJSON struct {
	To                 string         `json:"to"`
	Link               string         `json:"link"`
	From               string         `json:"from"`  // of the forecast: now
	Until              string         `json:"until"` // nothing later is foreseen
	Passes             int            `json:"passes"`
	NextPass           *passRow       `json:"next_pass"` // null where there is none
	Parts              []queuePartRow `json:"parts"`     // in the order in which they go out
	ChangeSets         int            `json:"change_sets"`
	Bytes              int            `json:"bytes"`                  // of all parts, as they travel: an estimate
	BundleBytes        int            `json:"bundle_bytes"`           // what each bundle takes beside that
	TrafficDays        int            `json:"traffic_days"`           // how many days past the new traffic is told from
	Load               []loadRow      `json:"load"`                   // by class, each with those before it
	BacklogMedianBytes float64        `json:"backlog_median_bytes"`   // what waits at the end, new traffic included
	Backlog95Bytes     float64        `json:"backlog_95_bytes"`       // 95 % of the runs end with no more
	Seed               uint64         `json:"seed"`                   // of the draws
	Runs               int            `json:"runs"`                   // how often it was played
	Warnings           []string       `json:"warnings"`               // what makes it less sure
	UnmeasuredSets     int            `json:"unmeasured_change_sets"` // more than one bundle may hold; counted in, at the size of the others
}

// queuePartRow is change-sets of one lane and one age, or an attachment's content
// that the other site waits for.
type queuePartRow struct {
	Class      string  `json:"class"`
	Attachment string  `json:"attachment"` // its id; empty for change-sets
	Site       string  `json:"site"`       // that wrote them
	Age        string  `json:"age"`        // "under 1 day", "1 to 7 days" or "over 7 days"
	OldestAt   string  `json:"oldest_at"`  // when the first was written
	ChangeSets int     `json:"change_sets"`
	Changes    int     `json:"changes"`
	Bytes      int     `json:"bytes"`       // as they travel: an estimate
	HomeMedian *string `json:"home_median"` // by then it is home in half of the runs; null: not by the end
	Home95     *string `json:"home_95"`     // by then it is home in 95 % of the runs; null: not by the end
	HomeShare  float64 `json:"home_share"`  // share of the runs in which it is home by the end
}

// loadRow compares what comes with what can go.
type loadRow struct {
	Class          string  `json:"class"`
	BytesPerDay    float64 `json:"bytes_per_day"`
	CapacityPerDay float64 `json:"capacity_bytes_per_day"`
	Grows          bool    `json:"grows"` // more comes than can go: the backlog grows for good
}

var ageTexts = []string{"under 1 day", "1 to 7 days", "over 7 days"}

// planTo returns the plan of the link between this site and another.
func (c *call) planTo(tx *changelog.Tx, to changelog.Site, name string, days int) (*linkbook.Plan, error) {
	links, err := linkbook.Between(tx, tx.Self().Site, to.ID)
	if err != nil {
		return nil, err
	}
	var codes []string
	for _, l := range links {
		if l.Code == name || tx.Name(l.ID) == name || name == "" && len(links) == 1 {
			from := c.env.now().UTC()
			return l.Plan(tx.Self().Site, from, from.AddDate(0, 0, days), c.Bool("force"))
		}
		codes = append(codes, l.Code)
	}
	switch {
	case len(links) == 0:
		return nil, fault.Hint("describe it: pulk link add --help", "there is no link between here and %s", to.Code)
	case name == "":
		return nil, fault.Misuse("say which with --link: "+strings.Join(codes, ", "), "%d links lead to %s", len(links), to.Code)
	}
	return nil, fault.Misuse("links between here and "+to.Code+": "+strings.Join(codes, ", "), "no link %q leads to %s", name, to.Code)
}

func (c *call) linkQueue() error {
	days, err := c.daysAhead(30)
	switch {
	case err != nil:
		return err
	case c.String("to") == "":
		return fault.Misuse("see: pulk link queue --help", "pulk link queue: --to SITE is needed")
	case c.Int("runs") < 1 || c.Int("runs") > 100_000:
		return fault.Misuse("give 1 to 100000", "--runs is %d", c.Int("runs"))
	}
	return c.withLog(func(log *changelog.Log) error {
		to, err := trustedSite(c, log, c.String("to"))
		if err != nil {
			return err
		}
		return log.View(c.Context.Context, func(tx *changelog.Tx) error {
			plan, err := c.planTo(tx, to, c.String("link"), days)
			if err != nil {
				return err
			}
			queue, err := c.foresee(tx, to, plan)
			if err != nil {
				return err
			}
			c.warn(plan)
			if c.asJSON() {
				return c.printJSON(queue)
			}
			c.printQueue(queue)
			return nil
		})
	})
}

// foresee measures what waits and plays the contacts of a plan.
func (c *call) foresee(tx *changelog.Tx, to changelog.Site, plan *linkbook.Plan) (*queueJSON, error) {
	request := changelog.Request{To: to.ID, Now: c.env.now(), Continue: c.Bool("continue")}
	bundleBytes, every := usualContact(plan)
	waiting, err := tx.Waiting(request, bundleBytes)
	if err != nil {
		return nil, err
	}
	written, err := tx.Written(request, trafficDays, every)
	if err != nil {
		return nil, err
	}
	q := questionOf(waiting, written, plan, c.Int("runs"))
	contents, err := attach.Outgoing(tx, to, false)
	if err != nil {
		return nil, err
	}
	for _, a := range contents {
		q.Parts = append(q.Parts, link.Part{Class: clock.Bulk, Bytes: a.ParcelBytes()})
	}
	seed := c.Uint64("seed")
	answer, err := link.Forecast(q, rand.New(rand.NewPCG(seed, 0)).Float64)
	if err != nil {
		return nil, err
	}
	queue := &queueJSON{To: to.Code, Link: plan.Link.Code, From: *jsonTime(plan.From), Until: *jsonTime(plan.Until), Passes: len(plan.Contacts),
		BundleBytes: waiting.BundleBytes, TrafficDays: len(written), BacklogMedianBytes: math.Round(answer.BacklogMedianBytes), Backlog95Bytes: math.Round(answer.Backlog95Bytes),
		Seed: seed, Runs: q.Runs, Warnings: append([]string{}, plan.Warnings...), UnmeasuredSets: waiting.Unmeasured, Parts: []queuePartRow{}}
	if len(plan.Contacts) > 0 {
		next := passRowOf(plan, 0)
		queue.NextPass = &next
	}
	if err := addParts(tx, queue, waiting, contents, request.Now); err != nil {
		return nil, err
	}
	for i := range queue.Parts {
		row, a := &queue.Parts[i], answer.Parts[i]
		row.Bytes, row.HomeMedian, row.Home95, row.HomeShare = q.Parts[i].Bytes, jsonTime(a.Median), jsonTime(a.Late), a.Share
		queue.ChangeSets, queue.Bytes = queue.ChangeSets+row.ChangeSets, queue.Bytes+row.Bytes
	}
	for _, l := range answer.Load {
		queue.Load = append(queue.Load, loadRow{l.Class.String(), math.Round(l.BytesPerDay), math.Round(l.CapacityPerDay), l.Grows})
	}
	return queue, nil
}

// addParts adds rows for what waits, in the order in which it goes out: attachments
// last.
func addParts(tx *changelog.Tx, queue *queueJSON, waiting *changelog.Waiting, contents []*attach.Attachment, now time.Time) error {
	for _, part := range waiting.Parts {
		site, err := siteCode(tx, part.Lane.Site)
		if err != nil {
			return err
		}
		queue.Parts = append(queue.Parts, queuePartRow{Class: part.Lane.Class.String(), Site: site, Age: ageTexts[changelog.AgeBand(now, part.Oldest)],
			OldestAt: *jsonTime(part.Oldest), ChangeSets: part.Sets, Changes: part.Changes})
	}
	for _, a := range contents {
		site, err := siteCode(tx, a.ID.Site)
		if err != nil {
			return err
		}
		queue.Parts = append(queue.Parts, queuePartRow{Class: clock.Bulk.String(), Attachment: tx.Name(a.ID), Site: site, Age: ageTexts[changelog.AgeBand(now, a.At.Time())],
			OldestAt: *jsonTime(a.At.Time())})
	}
	return nil
}

// usualContact returns how many bytes the median contact of a plan carries, and how
// far its contacts lie apart on average: what waits is measured in such bundles.
func usualContact(plan *linkbook.Plan) (bundleBytes int, every time.Duration) {
	contacts := link.Stretches(plan.Contacts, plan.Description.BundleEvery)
	if len(contacts) == 0 {
		return math.MaxInt, 24 * time.Hour
	}
	var payloads []int
	for _, contact := range contacts {
		payloads = append(payloads, plan.Description.Budget.PayloadIn(contact.Length()))
	}
	slices.Sort(payloads)
	return payloads[len(payloads)/2], plan.Until.Sub(plan.From) / time.Duration(len(contacts))
}

// questionOf puts what waits and what days past brought before the contacts of a
// plan. What could not be measured counts at the size of the rest, in the last part.
func questionOf(waiting *changelog.Waiting, written []changelog.DayBytes, plan *linkbook.Plan, runs int) link.Question {
	d := plan.Description
	q := link.Question{From: plan.From, Until: plan.Until, Contacts: plan.Contacts, Budget: d.Budget, BundleBytes: waiting.BundleBytes,
		BundleEvery: d.BundleEvery, RepairContacts: d.RepairContacts, Runs: runs}
	sets, bytes := 0, 0
	for _, p := range waiting.Parts {
		q.Parts = append(q.Parts, link.Part{Class: p.Lane.Class, Bytes: p.Bytes})
		sets, bytes = sets+p.Sets, bytes+p.Bytes
	}
	if n := len(q.Parts); n > 0 && waiting.Unmeasured > 0 {
		q.Parts[n-1].Bytes += int(float64(bytes) / float64(sets) * float64(waiting.Unmeasured))
	}
	for _, day := range written {
		bytes := link.DayBytes{}
		for class, n := range day {
			bytes[class] = float64(n)
		}
		q.Traffic.Days = append(q.Traffic.Days, bytes)
	}
	return q
}

func (c *call) printQueue(q *queueJSON) {
	c.printf("for %s over link %s: %s, about %s bytes\n", q.To, q.Link, plural(q.ChangeSets, "change-set waits", "change-sets wait"), grouped(q.Bytes))
	if q.NextPass != nil {
		rise, _ := time.Parse(time.RFC3339, q.NextPass.Rise) // as written
		c.printf("next pass: %s, %s, carries %s bytes\n", c.env.showTime(rise), lengthText(time.Duration(q.NextPass.LengthSeconds)*time.Second), grouped(q.NextPass.PayloadBytes))
	} else {
		c.printf("the link is not open before %s\n", q.Until)
	}
	t := newTable("class", "written by", "age", "what", "bytes", "home: even odds", "home: 95 %")
	for _, p := range q.Parts {
		what := plural(p.ChangeSets, "change-set", "change-sets")
		if p.Attachment != "" {
			what = "file " + p.Attachment
		}
		t.add(p.Class, p.Site, p.Age, what, grouped(p.Bytes), c.homeText(p.HomeMedian), c.homeText(p.Home95))
	}
	t.print(c.env, "nothing waits")
	last := q.Load[len(q.Load)-1]
	share := ""
	if last.CapacityPerDay > 0 {
		share = fmt.Sprintf(" (%.0f %%)", 100*last.BytesPerDay/last.CapacityPerDay)
	}
	c.printf("new, as in the last %s: about %s bytes a day; the passes carry %s a day%s\n", strings.TrimPrefix(plural(q.TrafficDays, "day", "days"), "1 "), grouped(int(last.BytesPerDay)), grouped(int(last.CapacityPerDay)), share)
	if q.TrafficDays < trafficDaysFew {
		c.printf("that is little to tell from: what was written once, to set a site up, counts as if it came every day\n")
	}
	c.printf("forecast of %s, %d runs, seed %d\n", plural(q.Passes, "pass", "passes"), q.Runs, q.Seed)
	for i, l := range q.Load {
		if l.Grows {
			c.printf("\nTHE BACKLOG GROWS FOR GOOD: %s bytes a day come%s, and the passes carry %s a day.\n%s\n", grouped(int(l.BytesPerDay)), classesText(i), grouped(int(l.CapacityPerDay)), growthAdvice(l.Class))
			break
		}
	}
}

// classesText names a class and those before it.
func classesText(i int) string {
	var names []string
	for _, class := range clock.Classes[:i+1] {
		names = append(names, class.String())
	}
	return " in " + strings.Join(names, ", ")
}

// growthAdvice says what to do where a class gets more than can go.
func growthAdvice(class string) string {
	if class == clock.Bulk.String() {
		return "Bulk never all gets home this way; what goes before it does. Send it by stick: pulk exchange FOLDER; or open the link longer."
	}
	return "Open the link longer or at a higher rate, send a copy of all by stick (pulk exchange FOLDER), and write less that can wait: long notes, procedures, imports."
}

func (c *call) homeText(at *string) string {
	if at == nil {
		return "not by then"
	}
	t, err := time.Parse(time.RFC3339, *at)
	if err != nil {
		return *at
	}
	return c.env.showTime(t)
}

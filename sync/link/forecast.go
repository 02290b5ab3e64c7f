package link

import (
	"fmt"
	"math"
	"slices"
	"time"

	"pulk/sync/clock"
)

// Part is something that waits to be sent: what is of one class and one age.
type Part struct {
	Class clock.Class
	Bytes int
}

// Traffic is what a site writes in the days ahead, told by what it wrote in days
// past: each day ahead is like one of them, drawn at random, with all its classes.
// No days are no new traffic.
type Traffic struct {
	Days []DayBytes
}

// DayBytes is what one day brought, in bytes as they travel, by class.
type DayBytes map[clock.Class]float64

// Mean returns the bytes of a class that a day brings on average.
func (t Traffic) Mean(class clock.Class) float64 {
	sum := 0.0
	for _, d := range t.Days {
		sum += d[class]
	}
	return sum / math.Max(1, float64(len(t.Days)))
}

// Question is what a forecast is asked.
type Question struct {
	From, Until time.Time // of the contacts below
	Contacts    []Contact // in order, none overlapping
	Budget      Budget
	// Parts are what waits, in the order it goes out: class by class, the most
	// urgent first, and in each the oldest first.
	Parts   []Part
	Traffic Traffic
	// BundleBytes is what a bundle takes beside what it carries: header, clock and
	// signature.
	BundleBytes int
	// BundleEvery is how often a bundle is made while a long contact lasts; 0: once
	// a contact. Each such stretch counts as a contact below.
	BundleEvery time.Duration
	// RepairContacts is how many contacts after the one in which a message was lost
	// it is sent again, if the list of what is missing comes back: 1 where that list
	// is taken at the start of a contact and answered in the same.
	RepairContacts int
	Runs           int // of the simulation
}

// Answer is what a forecast says.
type Answer struct {
	Parts []Arrival // as the question's
	Load  []Load    // by class, the most urgent first
	// Backlog is what still waits at the end of the contacts, in bytes: median and
	// 95 %.
	BacklogMedianBytes, Backlog95Bytes float64
}

// Arrival is when a part is home: taken in whole, with all of its class before it.
type Arrival struct {
	// Median and Late are the times by which it is home in half and in 95 % of the
	// runs; zero where that is after the last contact.
	Median, Late time.Time
	// Share is how often it was home at the end of the contacts.
	Share float64
}

// Load compares what comes with what can go, for a class and those before it.
type Load struct {
	Class clock.Class
	// BytesPerDay is what these classes bring; CapacityPerDay what the contacts
	// carry of it, what is sent again and what each bundle takes for itself left out.
	BytesPerDay, CapacityPerDay float64
	// Grows says that more comes than can go: the backlog grows for good.
	Grows bool
}

// Check returns an error that names what makes a question senseless.
func (q Question) Check() error {
	switch {
	case !q.From.Before(q.Until):
		return fmt.Errorf("the forecast ends at %s and starts at %s", q.Until, q.From)
	case q.Runs < 1:
		return fmt.Errorf("a forecast takes at least one run, not %d", q.Runs)
	case q.RepairContacts < 1:
		return fmt.Errorf("a lost message cannot be sent again after %d contacts", q.RepairContacts)
	case q.BundleEvery < 0 || q.BundleEvery > 0 && q.BundleEvery < time.Minute:
		return fmt.Errorf("a bundle cannot be made every %s", q.BundleEvery)
	case q.BundleBytes < 0:
		return fmt.Errorf("a bundle cannot take %d bytes", q.BundleBytes)
	}
	for i, c := range q.Contacts {
		if !c.Start.Before(c.End) || c.Start.Before(q.From) || c.End.After(q.Until) || i > 0 && c.Start.Before(q.Contacts[i-1].End) {
			return fmt.Errorf("contact %d, %s to %s, is empty, out of the span or before the end of another", i, c.Start, c.End)
		}
	}
	for i, p := range q.Parts {
		if p.Bytes < 0 || i > 0 && rank(p.Class) < rank(q.Parts[i-1].Class) {
			return fmt.Errorf("part %d, %d bytes %s, is not in the order in which parts go out", i, p.Bytes, p.Class)
		}
	}
	return q.Budget.Check()
}

// rank is the place of a class in the order in which classes go out.
func rank(c clock.Class) int { return slices.Index(clock.Classes, c) }

// Forecast plays the contacts ahead, so often as the question says, and tells when
// each part is home. uniform draws from 0 up to 1; with the same draws the answer is
// the same.
//
// Each contact carries one bundle, cut to what the contact holds after what must be
// sent again. A message is lost by itself with the budget's loss, each way. A bundle
// is taken in only when enough of its messages are there, and what is of one class
// only after all of that class before it. Time on the way is not counted.
func Forecast(q Question, uniform func() float64) (*Answer, error) {
	if err := q.Check(); err != nil {
		return nil, err
	}
	arrived := make([][]float64, len(q.Parts)) // seconds after From, infinity if not
	for i := range arrived {
		arrived[i] = make([]float64, q.Runs)
	}
	backlog := make([]float64, q.Runs)
	contacts := Stretches(q.Contacts, q.BundleEvery)
	for run := range q.Runs {
		s := newSeason(&q, uniform)
		for _, c := range contacts {
			s.play(c)
		}
		for i, at := range s.arrivals() {
			arrived[i][run] = at
		}
		backlog[run] = s.backlog(q.Until)
	}
	answer := &Answer{Load: Loads(q)}
	for _, times := range arrived {
		answer.Parts = append(answer.Parts, summary(q.From, times))
	}
	slices.Sort(backlog)
	answer.BacklogMedianBytes, answer.Backlog95Bytes = quantile(backlog, 0.5), quantile(backlog, 0.95)
	return answer, nil
}

func summary(from time.Time, seconds []float64) Arrival {
	slices.Sort(seconds)
	home := 0
	for home < len(seconds) && !math.IsInf(seconds[home], 1) {
		home++
	}
	at := func(share float64) time.Time {
		s := quantile(seconds, share)
		if math.IsInf(s, 1) {
			return time.Time{}
		}
		return from.Add(time.Duration(s * float64(time.Second)))
	}
	return Arrival{Median: at(0.5), Late: at(0.95), Share: float64(home) / float64(len(seconds))}
}

// quantile returns the smallest of sorted values that at least share of them do not
// exceed.
func quantile(sorted []float64, share float64) float64 {
	return sorted[max(0, int(math.Ceil(share*float64(len(sorted))))-1)]
}

// Loads compares, for each class and those before it, what comes on a day with what
// the contacts carry. Every message that is lost is sent again, so of what is sent
// the share that is not lost counts; without a way back nothing is.
func Loads(q Question) []Load {
	days := q.Until.Sub(q.From).Hours() / 24
	capacity := 0.0
	for _, c := range Stretches(q.Contacts, q.BundleEvery) {
		capacity += math.Max(0, float64(q.Budget.PayloadIn(c.Length())-q.BundleBytes))
	}
	if q.Budget.ReceiveBitsPerSecond > 0 {
		capacity *= 1 - q.Budget.LossShare
	}
	var list []Load
	sum := 0.0
	for _, class := range clock.Classes {
		sum += q.Traffic.Mean(class)
		list = append(list, Load{Class: class, BytesPerDay: sum, CapacityPerDay: capacity / days, Grows: sum > capacity/days})
	}
	return list
}

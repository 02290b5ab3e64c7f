package link

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pulk/sync/clock"
)

func draws(seed uint64) func() float64 { return rand.New(rand.NewPCG(seed, 0)).Float64 }

// hourly returns n contacts, one at the start of each hour.
func hourly(n int, length time.Duration) []Contact {
	var list []Contact
	for i := range n {
		start := evening.Add(time.Duration(i) * time.Hour)
		list = append(list, Contact{Start: start, End: start.Add(length)})
	}
	return list
}

func question(contacts int, b Budget, parts ...Part) Question {
	return Question{From: evening, Until: evening.Add(time.Duration(contacts) * time.Hour), Contacts: hourly(contacts, 10*time.Minute),
		Budget: b, Parts: parts, RepairContacts: 1, Runs: 1}
}

func mustForecast(t interface{ Fatal(...any) }, q Question, seed uint64) *Answer {
	answer, err := Forecast(q, draws(seed))
	if err != nil {
		t.Fatal(err)
	}
	return answer
}

// Without loss and new traffic all is arithmetic: at 2,400 bit/s a contact of ten
// minutes carries 180,000 bytes, of which a bundle takes 200 for itself.
func TestForecastWithoutLossIsArithmetic(t *testing.T) {
	q := question(5, Budget{SendBitsPerSecond: 2400, ReceiveBitsPerSecond: 2400},
		Part{clock.Expedited, 1000}, Part{clock.Normal, 178_800}, Part{clock.Normal, 10}, Part{clock.Normal, 300_000}, Part{clock.Bulk, 59_400}, Part{clock.Bulk, 1_000_000})
	q.BundleBytes = 200
	answer := mustForecast(t, q, 1)
	full := evening.Add(10 * time.Minute) // the end of a full first contact
	want := []time.Time{
		full,                    // in the first bundle, which fills the contact
		full,                    // 1000+178800+200 = 180000
		full.Add(1 * time.Hour), // in the second, with 179,790 of the next
		full.Add(2 * time.Hour), // 120,210 in the third
		full.Add(2 * time.Hour), // 120,210+59,400 = 179,610, and 190 of the last
		{},                      // three contacts carry 539,590 of it by the end
	}
	for i, at := range want {
		got := answer.Parts[i]
		if got.Median != at || got.Late != at || got.Share != map[bool]float64{true: 0, false: 1}[at.IsZero()] {
			t.Errorf("part %d: %+v; want %s", i, got, at)
		}
	}
	if left := 1_000_000.0 - 190 - 2*179_800; answer.BacklogMedianBytes != left {
		t.Errorf("backlog %g; want %g", answer.BacklogMedianBytes, left)
	}
}

// A bundle that does not fill its contact is home when its last byte is through.
func TestForecastTimesWithinAContact(t *testing.T) {
	answer := mustForecast(t, question(1, Budget{SendBitsPerSecond: 2400, ReceiveBitsPerSecond: 1, OverheadBytes: 20}, Part{clock.Normal, 280}), 1)
	if want := evening.Add(time.Second); answer.Parts[0].Median != want {
		t.Errorf("280 bytes and 20 of overhead at 300 bytes/s: home at %s; want %s", answer.Parts[0].Median, want)
	}
}

// near fails where a share of runs is further from its probability than chance
// explains: 5 standard deviations.
func near(t *testing.T, what string, got, want float64, runs int) {
	t.Helper()
	if math.Abs(got-want) > 5*math.Sqrt(want*(1-want)/float64(runs))+1e-12 {
		t.Errorf("%s: in %.4f of %d runs; want %.4f", what, got, runs, want)
	}
}

func binomial(n, k int, p float64) float64 {
	ln := func(x int) float64 { l, _ := math.Lgamma(float64(x) + 1); return l }
	return math.Exp(ln(n) - ln(k) - ln(n-k) + float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p))
}

// A bundle of n messages with loss p is whole after the first contact and k more
// with the probability
//
//	sum over m = 0 … k of C(k,m) (1-p)^m p^(k-m) (1-p^(m+1))^n
//
// where m is how often the list of what is missing came back: each message is tried
// m+1 times, and is missing still with p^(m+1), the tail of the geometric
// distribution.
func TestForecastLossIsGeometric(t *testing.T) {
	const runs = 20_000
	for _, p := range []float64{0.05, 0.3} {
		for _, n := range []int{1, 12} {
			for k := range 4 {
				b := Budget{SendBitsPerSecond: 2400, ReceiveBitsPerSecond: 2400, LossShare: p, MessageBytesMax: 320}
				q := question(k+1, b, Part{clock.Normal, 320 * n})
				q.Runs = runs
				want := 0.0
				for m := range k + 1 {
					want += binomial(k, m, 1-p) * math.Pow(1-math.Pow(p, float64(m+1)), float64(n))
				}
				near(t, "home", mustForecast(t, q, uint64(n*10+k)).Parts[0].Share, want, runs)
			}
		}
	}
}

// Where an answer takes two contacts, a message lost in the first is tried again in
// the third.
func TestForecastRepairsLater(t *testing.T) {
	const runs, p = 20_000, 0.3
	b := Budget{SendBitsPerSecond: 2400, ReceiveBitsPerSecond: 2400, LossShare: p}
	for contacts, want := range map[int]float64{1: 1 - p, 2: 1 - p, 3: 1 - p + p*(1-p)*(1-p)} {
		q := question(contacts, b, Part{clock.Normal, 320})
		q.Runs, q.RepairContacts = runs, 2
		near(t, "home", mustForecast(t, q, 7).Parts[0].Share, want, runs)
	}
}

// Without a way back a bundle is home if no more messages are lost than there are of
// parity: the lower tail of the binomial distribution.
func TestForecastParityIsBinomial(t *testing.T) {
	const runs, p = 20_000, 0.1
	b := Budget{SendBitsPerSecond: 2400, LossShare: p, MessageBytesMax: 320, ParityShare: 0.3}
	q := question(3, b, Part{clock.Normal, 3200})
	q.Runs = runs
	want := 0.0
	for k := range 4 {
		want += binomial(13, k, p)
	}
	near(t, "home", mustForecast(t, q, 3).Parts[0].Share, want, runs)
}

// A class waits for what of it went before, not for others: a bundle that is lost
// holds up the next of its class.
func TestForecastKeepsTheOrderOfAClass(t *testing.T) {
	const runs, p = 20_000, 0.4
	b := Budget{SendBitsPerSecond: 2400, LossShare: p} // a lost bundle stays lost
	q := question(2, b, Part{clock.Normal, 180_000}, Part{clock.Normal, 1000}, Part{clock.Bulk, 1000})
	q.Runs = runs
	answer := mustForecast(t, q, 5)
	near(t, "the first", answer.Parts[0].Share, 1-p, runs)
	near(t, "the second of its class", answer.Parts[1].Share, (1-p)*(1-p), runs)
	near(t, "another class in the second bundle", answer.Parts[2].Share, 1-p, runs)
}

// TestForecastGrowth compares with the fluid bound: where more comes than goes, the
// backlog grows by the difference; else it does not.
func TestForecastGrowth(t *testing.T) {
	const days = 20
	b := Budget{SendBitsPerSecond: 2400, ReceiveBitsPerSecond: 2400}
	q := question(24*days, b)
	capacity := 24 * 180_000.0 // a day
	for name, share := range map[string]float64{"below": 0.9, "above": 1.25} {
		q.Traffic = Traffic{Days: []DayBytes{{clock.Expedited: 0.1 * capacity, clock.Normal: (share - 0.1) * capacity}}}
		answer := mustForecast(t, q, 1)
		grows := share > 1
		for i, load := range answer.Load {
			want := Load{clock.Classes[i], share * capacity, capacity, grows}
			if i == 0 {
				want.BytesPerDay, want.Grows = 0.1*capacity, false
			}
			if load.Class != want.Class || math.Abs(load.BytesPerDay-want.BytesPerDay) > 1e-6 || math.Abs(load.CapacityPerDay-want.CapacityPerDay) > 1e-6 || load.Grows != want.Grows {
				t.Errorf("%s: load %+v; want %+v", name, load, want)
			}
		}
		want := 0.0
		if grows {
			want = (share - 1) * capacity * days
		}
		if hour := share * capacity / 24; math.Abs(answer.BacklogMedianBytes-want) > 2*hour {
			t.Errorf("%s: backlog %g after %d days; want %g, within two hours' traffic", name, answer.BacklogMedianBytes, days, want)
		}
	}
}

// Of a day's contact C bytes go, and 2C come with probability 3/10, or nothing: the
// backlog is a random walk that is held at 0, whose stationary distribution is
// geometric, P(backlog >= kC) = (3/7)^k. So its median is 0, and 95 % are at most 3C.
func TestForecastBacklogIsTheStationaryWalk(t *testing.T) {
	const days, c = 200, 3000
	q := Question{From: evening, Until: evening.Add(days*day + 10*time.Second), Budget: Budget{SendBitsPerSecond: 2400, ReceiveBitsPerSecond: 1},
		RepairContacts: 1, Runs: 4000}
	for i := range days {
		start := evening.Add(time.Duration(i+1) * day)
		q.Contacts = append(q.Contacts, Contact{Start: start, End: start.Add(10 * time.Second)})
	}
	for i := range 10 {
		q.Traffic.Days = append(q.Traffic.Days, DayBytes{clock.Normal: map[bool]float64{true: 2 * c}[i < 3]})
	}
	answer := mustForecast(t, q, 9)
	if math.Abs(answer.BacklogMedianBytes) > c/100 || math.Abs(answer.Backlog95Bytes-3*c) > c/100 {
		t.Errorf("median %g, 95 %% %g; want 0, %d", answer.BacklogMedianBytes, answer.Backlog95Bytes, 3*c)
	}
}

// With loss the capacity is what arrives: the backlog of a saturated link falls by it.
func TestForecastCapacityUnderLoss(t *testing.T) {
	b := Budget{SendBitsPerSecond: 2400, ReceiveBitsPerSecond: 2400, LossShare: 0.2, MessageBytesMax: 500}
	q := question(200, b, Part{clock.Bulk, 100_000_000})
	q.Runs = 20
	answer := mustForecast(t, q, 4)
	gone := (100_000_000 - answer.BacklogMedianBytes) / (200.0 / 24)
	if math.Abs(gone/answer.Load[2].CapacityPerDay-1) > 0.01 {
		t.Errorf("%g bytes a day left the queue; the capacity is told as %g", gone, answer.Load[2].CapacityPerDay)
	}
}

func TestForecastProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := question(rapid.IntRange(1, 30).Draw(t, "contacts"), drawBudget(t))
		q.Runs, q.BundleBytes = 20, rapid.IntRange(0, 300).Draw(t, "bundle")
		q.RepairContacts = rapid.IntRange(1, 3).Draw(t, "repair")
		q.BundleEvery = rapid.SampledFrom([]time.Duration{0, 4 * time.Minute}).Draw(t, "every")
		for _, class := range clock.Classes {
			for range rapid.IntRange(0, 3).Draw(t, "parts") {
				q.Parts = append(q.Parts, Part{class, rapid.IntRange(0, 300_000).Draw(t, "bytes")})
			}
		}
		for range rapid.IntRange(0, 3).Draw(t, "days") {
			q.Traffic.Days = append(q.Traffic.Days, DayBytes{clock.Normal: float64(rapid.IntRange(0, 2_000_000).Draw(t, "normal"))})
		}
		seed := rapid.Uint64().Draw(t, "seed")
		answer := mustForecast(t, q, seed)
		if !reflect.DeepEqual(answer, mustForecast(t, q, seed)) {
			t.Fatal("the same draws give another answer")
		}
		for i, a := range answer.Parts {
			if a.Median.IsZero() != (a.Share < 0.5) || a.Late.IsZero() != (a.Share < 0.95) || !a.Late.IsZero() && a.Late.Before(a.Median) {
				t.Fatalf("part %d: %+v contradicts itself", i, a)
			}
			if i > 0 && q.Parts[i].Class == q.Parts[i-1].Class && a.Share > answer.Parts[i-1].Share {
				t.Fatalf("part %d is home more often than the one of its class before it", i)
			}
		}
		checkMonotone(t, q, seed)
	})
}

// checkMonotone holds a link without loss to bringing each part home in no later
// contact with twice the rate. Within a contact it may be later, as the bundle that
// it is in is larger.
func checkMonotone(t *rapid.T, q Question, seed uint64) {
	q.Budget.LossShare = 0
	slow := mustForecast(t, q, seed)
	q.Budget.SendBitsPerSecond *= 2
	fast := mustForecast(t, q, seed)
	for i := range q.Parts {
		s, f := slow.Parts[i].Late, fast.Parts[i].Late
		if s.IsZero() {
			continue
		}
		for _, c := range Stretches(q.Contacts, q.BundleEvery) {
			if !s.Before(c.Start) && !s.After(c.End) {
				s = c.End
				break
			}
		}
		if f.IsZero() || f.After(s) {
			t.Fatalf("part %d is home by the contact that ends at %s, and at %s with twice the rate", i, s, f)
		}
	}
}

func TestQuestionCheck(t *testing.T) {
	good := question(2, shortBurst, Part{clock.Expedited, 1}, Part{clock.Bulk, 1})
	if err := good.Check(); err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(*Question){
		"no_span":       func(q *Question) { q.Until = q.From },
		"no_runs":       func(q *Question) { q.Runs = 0 },
		"repair_before": func(q *Question) { q.RepairContacts = 0 },
		"overlap":       func(q *Question) { q.Contacts[1].Start = q.Contacts[0].Start },
		"out_of_span":   func(q *Question) { q.Contacts[1].End = q.Until.Add(1) },
		"out_of_order":  func(q *Question) { q.Parts[1].Class = clock.Expedited; q.Parts[0].Class = clock.Bulk },
		"below_zero":    func(q *Question) { q.Parts[0].Bytes = -1 },
		"budget":        func(q *Question) { q.Budget.LossShare = 1 },
		"every":         func(q *Question) { q.BundleEvery = time.Second },
	} {
		q := question(2, shortBurst, Part{clock.Expedited, 1}, Part{clock.Bulk, 1})
		spoil(&q)
		if _, err := Forecast(q, draws(1)); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

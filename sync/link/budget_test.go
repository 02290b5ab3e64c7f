package link

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// shortBurst is a link of 340-byte messages at 2,400 bit/s.
var shortBurst = Budget{SendBitsPerSecond: 2400, ReceiveBitsPerSecond: 2400, OverheadBytes: 10, MessageBytesMax: 340, HeaderBytes: 20, CentsPerByte: 0.12}

func TestCost(t *testing.T) {
	open := Budget{SendBitsPerSecond: 9600, ReceiveBitsPerSecond: 9600, OverheadBytes: 100}
	parity := shortBurst
	parity.ParityShare = 0.3
	for _, c := range []struct {
		name    string
		budget  Budget
		payload int
		want    Cost // by hand, from the meaning of the words
	}{
		{"one_message_without_limit", open, 5000, Cost{Messages: 1, LinkBytes: 5100, Time: 4250 * time.Millisecond}},
		{"whole_in_one_message", shortBurst, 340, Cost{Messages: 1, LinkBytes: 350, Time: 350 * 8 * time.Second / 2400, Cents: 42}},
		{"one_byte_too_many", shortBurst, 341, Cost{Messages: 2, LinkBytes: 341 + 2*30, Time: 401 * 8 * time.Second / 2400, Cents: 48.12}},
		{"ten_full_fragments", shortBurst, 3200, Cost{Messages: 10, LinkBytes: 3500, Time: 3500 * 8 * time.Second / 2400, Cents: 420}},
		{"word_of_what_has_arrived", shortBurst, 0, Cost{Messages: 1, LinkBytes: 10, Time: 80 * time.Second / 2400, Cents: 1.2}},
		{"three_of_thirteen_are_parity", parity, 3200, Cost{Messages: 13, LinkBytes: 13 * 350, Time: 4550 * 8 * time.Second / 2400, Cents: 546}},
	} {
		got := c.budget.Cost(c.payload)
		if got.Messages != c.want.Messages || got.LinkBytes != c.want.LinkBytes || (got.Time-c.want.Time).Abs() > time.Microsecond || math.Abs(got.Cents-c.want.Cents) > 1e-9 {
			t.Errorf("%s: Cost(%d) = %+v; want %+v", c.name, c.payload, got, c.want)
		}
	}
}

func TestPayloadIn(t *testing.T) {
	for _, c := range []struct {
		name   string
		budget Budget
		time   time.Duration
		want   int
	}{
		{"ten_minutes_at_2400", Budget{SendBitsPerSecond: 2400}, 10 * time.Minute, 180_000},
		{"overhead_of_the_one_message", Budget{SendBitsPerSecond: 2400, OverheadBytes: 500}, 10 * time.Minute, 179_500},
		{"full_messages", shortBurst, 350*7*8*time.Second/2400 + 1, 320 * 7},
		{"and_what_is_left", shortBurst, (350*7+130)*8*time.Second/2400 + 1, 320*7 + 100},
		{"what_is_left_is_all_overhead", shortBurst, (350*7+30)*8*time.Second/2400 + 1, 320 * 7},
		{"too_short_for_anything", shortBurst, 9 * 8 * time.Second / 2400, 0},
	} {
		if got := c.budget.PayloadIn(c.time); got != c.want {
			t.Errorf("%s: PayloadIn(%s) = %d; want %d", c.name, c.time, got, c.want)
		}
	}
}

func drawBudget(t *rapid.T) Budget {
	b := Budget{
		SendBitsPerSecond:    rapid.SampledFrom([]float64{2400, 9600, 64000}).Draw(t, "rate"),
		ReceiveBitsPerSecond: 2400,
		LossShare:            rapid.SampledFrom([]float64{0, 0.05, 0.5}).Draw(t, "loss"),
		OverheadBytes:        rapid.IntRange(0, 200).Draw(t, "overhead"),
		ParityShare:          rapid.SampledFrom([]float64{0, 0, 0.3, 1}).Draw(t, "parity"),
		HeaderBytes:          rapid.IntRange(0, 30).Draw(t, "header"),
	}
	if rapid.Bool().Draw(t, "limited") {
		b.MessageBytesMax = b.HeaderBytes + rapid.IntRange(50, 2000).Draw(t, "room")
	}
	return b
}

// The payload of a number of bytes on the link is the largest whose cost is no more.
func TestPayloadIsTheLargestThatFits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBudget(t)
		if err := b.Check(); err != nil {
			t.Fatal(err)
		}
		link := rapid.IntRange(0, 100_000).Draw(t, "link")
		payload, ok := b.Payload(link)
		if !ok {
			if b.Cost(0).LinkBytes <= link {
				t.Fatalf("%d bytes hold an empty bundle, and Payload says no", link)
			}
			return
		}
		if got := b.Cost(payload).LinkBytes; got > link {
			t.Fatalf("Payload(%d) = %d, which takes %d", link, payload, got)
		}
		if got := b.Cost(payload + 1).LinkBytes; got <= link {
			t.Fatalf("Payload(%d) = %d, and one byte more takes only %d", link, payload, got)
		}
		more := rapid.IntRange(0, 100_000).Draw(t, "more")
		if b.Cost(more).LinkBytes > b.Cost(more+1).LinkBytes {
			t.Fatalf("%d bytes cost less than %d", more+1, more)
		}
	})
}

func TestBudgetCheck(t *testing.T) {
	for name, b := range map[string]Budget{
		"no_rate":         {},
		"rate_below_zero": {SendBitsPerSecond: -1},
		"rate_nan":        {SendBitsPerSecond: math.NaN()},
		"all_lost":        {SendBitsPerSecond: 1, LossShare: 1},
		"overhead":        {SendBitsPerSecond: 1, OverheadBytes: -1},
		"all_header":      {SendBitsPerSecond: 1, MessageBytesMax: 20, HeaderBytes: 20},
		"parity":          {SendBitsPerSecond: 1, ParityShare: -0.1},
		"price":           {SendBitsPerSecond: 1, CentsPerByte: math.Inf(1)},
	} {
		if b.Check() == nil {
			t.Errorf("%s: %+v passes", name, b)
		}
	}
	if err := shortBurst.Check(); err != nil {
		t.Error(err)
	}
}

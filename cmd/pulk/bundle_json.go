package main

import (
	"encoding/base64"
	"fmt"
	"time"

	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/change"
	"pulk/sync/clock"
)

// bundleJSON is pulk bundle show --json. Lanes, dots and sites are written with the
// site's id in hexadecimal, as no store is asked.
type bundleJSON struct {
	Campaign string        `json:"campaign"`
	From     string        `json:"from"`
	To       string        `json:"to"`
	MadeAt   time.Time     `json:"made_at"`
	Clock    []ackJSON     `json:"clock"` // what the sender has
	Segments []segmentJSON `json:"segments"`
}

// ackJSON is a lane of the sender's clock.
type ackJSON struct {
	Lane  string `json:"lane"`
	Seq   uint64 `json:"seq"`
	Check string `json:"check"` // start of the chain hash there
}

// segmentJSON is a run of change-sets of one lane.
type segmentJSON struct {
	Lane    string    `json:"lane"`
	From    uint64    `json:"from"`
	To      uint64    `json:"to"`
	Relayed bool      `json:"relayed"` // signed by another site than the sender
	Sets    []setJSON `json:"change_sets"`
}

// setJSON is a change-set.
type setJSON struct {
	Seq     uint64       `json:"seq"`
	At      time.Time    `json:"at"`
	Person  string       `json:"person"`
	Changes []changeJSON `json:"changes"`
}

// changeJSON is a change; of a kind that only a newer program knows there are no
// values.
type changeJSON struct {
	Kind   string         `json:"kind"`
	Values map[string]any `json:"values"`
}

func bundleJSONOf(b *bundle.Bundle) bundleJSON {
	out := bundleJSON{Campaign: fmt.Sprintf("%08x", b.Campaign), From: siteHex(b.From), To: siteHex(b.To), MadeAt: b.At.Time(), Clock: []ackJSON{}, Segments: []segmentJSON{}}
	for _, ack := range b.Clock {
		out.Clock = append(out.Clock, ackJSON{ack.Lane.String(), ack.Seq, fmt.Sprintf("%08x", ack.Check)})
	}
	for i := range b.Segments {
		s := &b.Segments[i]
		segment := segmentJSON{Lane: s.Lane.String(), From: s.From, To: s.To(), Relayed: s.Statement >= 0}
		for _, set := range s.Sets {
			segment.Sets = append(segment.Sets, setJSONOf(set))
		}
		out.Segments = append(out.Segments, segment)
	}
	return out
}

func siteHex(id clock.SiteID) string { return fmt.Sprintf("%08x", uint32(id)) }

func setJSONOf(set *change.Set) setJSON {
	out := setJSON{Seq: set.Seq, At: set.At.Time(), Person: dotHex(set.Person)}
	for _, c := range set.Changes {
		known := kind.Lookup(c.Kind)
		if known == nil {
			out.Changes = append(out.Changes, changeJSON{Kind: fmt.Sprintf("kind %d", c.Kind)})
			continue
		}
		values := map[string]any{}
		for i, column := range known.Columns {
			values[column.Name] = valueJSON(column.Type, c.Values[i])
		}
		out.Changes = append(out.Changes, changeJSON{known.Name, values})
	}
	return out
}

func dotHex(d clock.Dot) string {
	if d.IsZero() {
		return ""
	}
	return d.String()
}

func valueJSON(t kind.Type, v change.Value) any {
	switch t {
	case kind.Text:
		return v.Text
	case kind.Bytes:
		return base64.StdEncoding.EncodeToString([]byte(v.Text))
	case kind.Ref:
		return dotHex(v.Ref)
	case kind.Decimal:
		return v.Decimal().String()
	}
	return v.Num
}

package main

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
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

// printBundleJSON writes a bundle as bundleJSON, a change at a time: in memory all of
// it would be many times what it was decoded from.
func printBundleJSON(w io.Writer, b *bundle.Bundle) error {
	j := &jsonLists{out: bufio.NewWriter(w)}
	top := bundleJSON{Campaign: fmt.Sprintf("%08x", b.Campaign), From: siteHex(b.From), To: siteHex(b.To), MadeAt: b.At.Time(), Clock: []ackJSON{}}
	for _, ack := range b.Clock {
		top.Clock = append(top.Clock, ackJSON{ack.Lane.String(), ack.Seq, fmt.Sprintf("%08x", ack.Check)})
	}
	j.object(top, func() {
		for i := range b.Segments {
			s := &b.Segments[i]
			j.object(segmentJSON{Lane: s.Lane.String(), From: s.From, To: s.To(), Relayed: s.Statement >= 0}, func() {
				for _, set := range s.Sets {
					j.object(setJSON{Seq: set.Seq, At: set.At.Time(), Person: dotHex(set.Person)}, func() {
						for k := range set.Changes {
							j.element(changeJSONOf(&set.Changes[k]))
						}
					})
				}
			})
		}
	})
	if j.err != nil {
		return j.err
	}
	j.out.WriteByte('\n')
	return j.out.Flush()
}

// jsonLists writes objects that end in long lists as printJSON would.
type jsonLists struct {
	out    *bufio.Writer
	indent string // of the elements at hand
	some   bool   // the list at hand has an element already
	err    error
}

// object writes an element whose last field is a list: nil in value, with the
// elements that each writes.
func (j *jsonLists) object(value any, each func()) {
	indent := j.indent
	j.write(value, "null\n"+indent+"}")
	j.out.WriteByte('[')
	j.some, j.indent = false, indent+"    "
	each()
	if j.some {
		j.out.WriteString("\n" + indent + "  ")
	}
	j.out.WriteString("]\n" + indent + "}")
	j.some, j.indent = true, indent
}

// element writes an element.
func (j *jsonLists) element(value any) {
	j.write(value, "")
	j.some = true
}

// write writes a value without what it ends in, after what parts it from the one
// before.
func (j *jsonLists) write(value any, without string) {
	switch {
	case j.some:
		j.out.WriteString(",\n" + j.indent)
	case j.indent != "":
		j.out.WriteString("\n" + j.indent)
	}
	var text bytes.Buffer
	encoder := json.NewEncoder(&text)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent(j.indent, "  ")
	if err := encoder.Encode(value); err != nil && j.err == nil {
		j.err = err
	}
	j.out.Write(bytes.TrimSuffix(text.Bytes(), []byte(without+"\n")))
}

func siteHex(id clock.SiteID) string { return fmt.Sprintf("%08x", uint32(id)) }

func changeJSONOf(c *change.Change) changeJSON {
	known := kind.Lookup(c.Kind)
	if known == nil {
		return changeJSON{Kind: fmt.Sprintf("kind %d", c.Kind)}
	}
	values := map[string]any{}
	for i, column := range known.Columns {
		values[column.Name] = valueJSON(column.Type, c.Values[i])
	}
	return changeJSON{known.Name, values}
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

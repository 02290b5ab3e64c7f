package bundle

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"strings"

	"pulk/schema/kind"
	"pulk/sync/change"
)

// Dump writes a bundle as text: every field of the header with its place and
// bytes, every column, every change-set with the names of kinds and columns. Of a
// bundle that cannot be read it writes all up to the fault, and returns that.
func Dump(w io.Writer, data []byte) error {
	var out bytes.Buffer
	b, err := dump(&out, data)
	if b != nil {
		for i := range b.Segments {
			for _, set := range b.Segments[i].Sets {
				dumpSet(&out, set)
			}
		}
	}
	var fault *Error
	if errors.As(err, &fault) {
		fmt.Fprintf(&out, "fault at byte %d: %s\n", fault.Offset, fault.What)
	} else {
		fmt.Fprintf(&out, "envelope   SHA-256 of the bytes before the signature: %x\n", b.Envelope)
	}
	if _, write := w.Write(out.Bytes()); write != nil {
		return write
	}
	return err
}

var methodNames = map[byte]string{methodRaw: "as they are", methodZstd: "zstd, plain columns as they are",
	methodZstd | allPacked: "zstd", methodModel: "modelled, plain columns as they are",
	methodModel | allPacked: "modelled"}

// dump writes header, columns and signature.
func dump(out io.Writer, data []byte) (*Bundle, error) {
	row := func(from, to int, name, value string) {
		fmt.Fprintf(out, "%06d %-26s %s: %s\n", from, abbreviate(fmt.Sprintf("%x", data[from:to]), 24), name, abbreviate(value, 76))
	}
	columns := false
	r := &headerReader{data: data, trace: row}
	r.traceColumn = func(id uint32, rows int, content string) {
		if !columns {
			fmt.Fprintf(out, "%06d columns, packed by method %d (%s), %d bytes\n", r.at, data[3], methodNames[data[3]], r.end-r.at)
			columns = true
		}
		fmt.Fprintf(out, "       %-26s %d: %s\n", columnName(id), rows, abbreviate(content, 76))
	}
	b, err := decode(r, DefaultLimits)
	if err == nil {
		row(r.end, r.end+ed25519.SignatureSize, "signature of the sender", "")
	}
	return b, err
}

func abbreviate(text string, size int) string {
	if len(text) > size {
		return strings.ToValidUTF8(text[:size-2], "") + ".."
	}
	return text
}

func dumpSet(out io.Writer, set *change.Set) {
	fmt.Fprintf(out, "change-set %s/%d at %s", set.Lane, set.Seq, set.At)
	if !set.Person.IsZero() {
		fmt.Fprintf(out, " by %s", set.Person)
	}
	fmt.Fprintln(out)
	for _, row := range set.Seen {
		fmt.Fprintf(out, "  has seen %s to %d, check %08x\n", row.Lane, row.Seq, row.Check)
	}
	for i := range set.Changes {
		c := &set.Changes[i]
		k := kind.Lookup(c.Kind)
		if k == nil {
			fmt.Fprintf(out, "  .%d kind %d, unknown to this program: %x\n", i, c.Kind, c.Raw)
			continue
		}
		fmt.Fprintf(out, "  .%d %s", i, k.Name)
		for j, column := range k.Columns {
			fmt.Fprintf(out, " %s=%s", column.Name, valueText(column.Type, c.Values[j]))
		}
		fmt.Fprintln(out)
	}
}

func valueText(t kind.Type, value change.Value) string {
	switch {
	case t == kind.Decimal:
		return value.Decimal().String()
	case t == kind.Text:
		return fmt.Sprintf("%q", value.Text)
	case t == kind.Bytes:
		return fmt.Sprintf("%x", value.Text)
	case t == kind.Ref && value.Ref.IsZero():
		return "none"
	case t == kind.Ref:
		return value.Ref.String()
	}
	return fmt.Sprint(value.Num)
}

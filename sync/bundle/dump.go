package bundle

import (
	"bufio"
	"crypto/ed25519"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"pulk/schema/kind"
	"pulk/sync/change"
)

// Dump writes a bundle as text: every field of the header with its place and
// bytes, every column, every change-set with the names of kinds and columns. Of a
// bundle that cannot be read it writes all up to the fault, and returns that.
func Dump(w io.Writer, data []byte) error {
	out := bufio.NewWriter(w)
	b, err := dump(out, data)
	if b != nil {
		for i := range b.Segments {
			for _, set := range b.Segments[i].Sets {
				dumpSet(out, set)
			}
		}
	}
	var fault *Error
	if errors.As(err, &fault) {
		fmt.Fprintf(out, "fault at byte %d: %s\n", fault.Offset, fault.What)
	} else {
		fmt.Fprintf(out, "envelope   SHA-256 of the bytes before the signature: %x\n", b.Envelope)
	}
	if write := out.Flush(); write != nil {
		return write
	}
	return err
}

var methodNames = map[byte]string{methodRaw: "as they are", methodZstd: "zstd, plain columns as they are",
	methodZstd | allPacked: "zstd", methodModel: "modelled, plain columns as they are",
	methodModel | allPacked: "modelled"}

// shown is how many bytes of a value's or column's text are shown.
const shown = 76

// start returns the first of list, as many as show whatever they are.
func start[T any](list []T) []T { return list[:min(len(list), shown)] }

// dump writes header, columns and signature.
func dump(out io.Writer, data []byte) (*Bundle, error) {
	row := func(from, to int, name, value string) {
		fmt.Fprintf(out, "%06d %-26s %s: %s\n", from, abbreviate(fmt.Sprintf("%x", data[from:to]), 24), name, abbreviate(value, shown))
	}
	columns := false
	r := &headerReader{data: data, trace: row}
	r.traceColumn = func(id uint32, rows int, content string) {
		if !columns {
			fmt.Fprintf(out, "%06d columns, packed by method %d (%s), %d bytes\n", r.at, data[3], methodNames[data[3]], r.end-r.at)
			columns = true
		}
		fmt.Fprintf(out, "       %-26s %d: %s\n", columnName(id), rows, abbreviate(content, shown))
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
			fmt.Fprintf(out, "  .%d kind %d, unknown to this program: ", i, c.Kind)
			hex.NewEncoder(out).Write(c.Raw)
			fmt.Fprintln(out)
			continue
		}
		fmt.Fprintf(out, "  .%d %s", i, k.Name)
		for j, column := range k.Columns {
			fmt.Fprintf(out, " %s=", column.Name)
			dumpValue(out, column.Type, c.Values[j])
		}
		fmt.Fprintln(out)
	}
}

func dumpValue(out io.Writer, t kind.Type, value change.Value) {
	switch {
	case t == kind.Decimal:
		io.WriteString(out, value.Decimal().String())
	case t == kind.Text:
		dumpQuoted(out, value.Text)
	case t == kind.Bytes:
		hex.NewEncoder(out).Write([]byte(value.Text))
	case t == kind.Ref && value.Ref.IsZero():
		io.WriteString(out, "none")
	case t == kind.Ref:
		io.WriteString(out, value.Ref.String())
	default:
		fmt.Fprint(out, value.Num)
	}
}

// dumpQuoted writes a text in quotes, character by character: quoted it may be many
// times as long.
func dumpQuoted(out io.Writer, text string) {
	var quoted []byte
	io.WriteString(out, `"`)
	for len(text) > 0 {
		_, size := utf8.DecodeRuneInString(text)
		quoted = strconv.AppendQuote(quoted[:0], text[:size])
		out.Write(quoted[1 : len(quoted)-1])
		text = text[size:]
	}
	io.WriteString(out, `"`)
}

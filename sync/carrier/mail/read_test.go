package mail

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"runtime"
	"strings"
	"testing"

	"pulk/sync/carrier"
)

// TestForeignMailHasNothing passes over what is not ours.
func TestForeignMailHasNothing(t *testing.T) {
	for name, message := range map[string]string{
		"empty":        "",
		"text":         "From: a@b\nSubject: hello\n\nsee you\n",
		"no header":    "\n\nbody",
		"not mail":     "\x00\x01\x02\xff",
		"other file":   "Content-Type: application/pdf; name=x.pdf\nContent-Transfer-Encoding: base64\n\nJVBERi0=\n",
		"no boundary":  "Content-Type: multipart/mixed\n\n--x\n\n--x--\n",
		"bad type":     "Content-Type: ;;;=\n\nx\n",
		"named bundle": "Content-Type: application/octet-stream; name=goods.bundle\nContent-Transfer-Encoding: base64\n\nAAAA\n",
	} {
		if found, _ := Parcels(strings.NewReader(message)); len(found) != 0 {
			t.Errorf("%s: found %v", name, found)
		}
	}
}

// TestGatewaysChangeMails reads a parcel out of what gateways make of a mail.
func TestGatewaysChangeMails(t *testing.T) {
	data := parcel(300)
	whole := string(letterOf(data).Bytes())
	name := nameAt(home, data)
	line := base64.StdEncoding.EncodeToString(data[:57])
	listed := "Content-Type: multipart/mixed; boundary=list\nX-Odd Header: kept\nReceived: from a\n\tby b\n\n--list\n" + whole[strings.Index(whole, "Content-Type: multipart"):] + "\n--list\nContent-Type: text/plain\n\nYou get this as you are on the list.\n--list--\n"
	for what, message := range map[string]string{
		"line ends":         strings.ReplaceAll(whole, "\r\n", "\n"),
		"mailbox separator": "From stn Tue Jan  5 08:00:00 2027\n" + whole,
		"name lost":         strings.ReplaceAll(whole, name, "att00001.bin"),
		"list footer":       listed,
		"cut behind":        strings.TrimSuffix(whole, "--\r\n"),
		"blanks in base64":  strings.Replace(whole, line, " "+line[:20]+" \t"+line[20:]+"  ", 1),
		"encoding shouted":  strings.Replace(whole, "Encoding: base64", "Encoding:  BASE64 ", 1),
	} {
		found, err := Parcels(strings.NewReader(message))
		if err != nil || len(found) != 1 || !bytes.Equal(found[0].Data, data) {
			t.Errorf("%s: %d found, %v", what, len(found), err)
		}
	}
	cut := whole[:len(whole)-250]
	if found, err := Parcels(strings.NewReader(cut)); err != nil || len(found) != 1 || !bytes.HasPrefix(data, found[0].Data) {
		t.Errorf("cut in the middle: %v, %v; want what came, so that its opener can refuse it", found, err)
	}
}

// endless yields the same text for ever, after a start.
type endless struct {
	start, again string
	read         int
}

func (e *endless) Read(p []byte) (int, error) {
	n := 0
	for n < len(p) {
		text := e.start
		if text == "" {
			text = e.again
		}
		c := copy(p[n:], text)
		if e.start != "" {
			e.start = e.start[c:]
		} else if c < len(text) {
			e.start = text[c:]
		}
		n += c
	}
	e.read += n
	return n, nil
}

// TestHostileMails are mails that would have a reader without bounds run for ever,
// or out of memory.
func TestHostileMails(t *testing.T) {
	nested := &strings.Builder{}
	for i := range 2000 {
		fmt.Fprintf(nested, "Content-Type: multipart/mixed; boundary=b%d\n\n--b%d\n", i, i)
	}
	for name, message := range map[string]io.Reader{
		"endless header":       &endless{again: "X-A: b\n"},
		"endless header line":  &endless{again: "x"},
		"endless parts":        &endless{start: "Content-Type: multipart/mixed; boundary=b\n\n", again: "--b\n\n\n"},
		"nesting":              strings.NewReader(nested.String()),
		"mails within mails":   &endless{again: "Content-Type: message/rfc822\n\n"},
		"endless parcel":       &endless{start: "Content-Type: a/b; name=" + nameAt(home, nil) + "\n\n", again: "zzzzzzzz"},
		"endless part headers": &endless{start: "Content-Type: multipart/mixed; boundary=b\n\n--b\n", again: "X-A: b\n"},
		"parcels without end": &endless{start: "Content-Type: multipart/mixed; boundary=b\n\n",
			again: "--b\nContent-Type: a/b\n\n\xb5p" + strings.Repeat("z", 200_000) + "\n"},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		found, err := Parcels(message)
		runtime.ReadMemStats(&after)
		if err == nil || len(found) > 0 {
			t.Errorf("%s: %d found, %v; want it refused", name, len(found), err)
		}
		if e, ok := message.(*endless); ok && e.read > maxMessageBytes {
			t.Errorf("%s: read %d bytes of it", name, e.read)
		}
		if total := after.TotalAlloc - before.TotalAlloc; total > 200<<20 {
			t.Errorf("%s: allocated %d bytes in all", name, total)
		}
	}
	if _, err := Parcels(strings.NewReader(nested.String())); !errors.Is(err, errBeyond) {
		t.Errorf("nesting: %v", err)
	}
}

// FuzzParcels looks for mails that crash the reader, or make it hold too much.
func FuzzParcels(f *testing.F) {
	f.Add(letterOf(parcel(100)).Bytes())
	f.Add([]byte("From x\nContent-Type: message/rfc822\nContent-Transfer-Encoding: quoted-printable\n\nContent-Type: a/b; name*=utf-8''%C3%A4\n\n\xb5p=3D"))
	f.Add([]byte("Content-Type: multipart/mixed; boundary=b\n\n--b\nContent-Transfer-Encoding: base64\n\ntXBhYmM=\n--b--\n"))
	f.Fuzz(func(t *testing.T, message []byte) {
		found, err := Parcels(bytes.NewReader(message))
		if err != nil {
			return
		}
		total := 0
		for i, a := range found {
			total += len(a.Data)
			again, err := parcelsIn(bytes.NewReader(message), func(number int) (bool, int) { return number == i+1, a.Bytes })
			if err != nil || len(again) != len(found) || a.Bytes != len(a.Data) || !bytes.Equal(again[i].Data, a.Data) || i > 0 && len(again[i-1].Data) > 0 {
				t.Errorf("parcel %d of %d by itself: %v, %d bytes for %d", i+1, len(found), err, again[i].Bytes, a.Bytes)
			}
			if _, named := carrier.ParseName(a.Name); !named && !carrier.LooksLikeParcel(a.Data) {
				t.Errorf("took %q, which is no parcel by name or content", a.Name)
			}
		}
		if total > len(message) {
			t.Errorf("%d bytes out of a mail of %d", total, len(message))
		}
	})
}

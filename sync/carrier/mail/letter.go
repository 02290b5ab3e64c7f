// Package mail carries parcels as attachments of electronic mail (RFC 5322, MIME),
// through maildirs that a mail system fills and empties, or by SMTP.
package mail

import (
	"encoding/base64"
	"fmt"
	"mime"
	netmail "net/mail"
	"strings"
	"time"

	"pulk/sync/carrier"
)

// Letter is a mail with one parcel in it. All its text is ASCII, save for Campaign
// and the names of the addresses, which are encoded.
type Letter struct {
	From, To         netmail.Address
	FromCode, ToCode string // the sites' codes, as people use them
	Campaign         string
	Date             time.Time
	Name             carrier.Name // of the parcel
	Data             []byte
}

// Base64 stands in lines of 76 characters, for 57 bytes, as RFC 2045 asks.
const (
	lineChars = 76
	lineBytes = lineChars / 4 * 3
	lineEnd   = "\r\n"
)

// Bytes returns the mail as it goes over the wire, lines ending in CRLF. The same
// letter gives the same bytes.
func (l Letter) Bytes() []byte {
	head, tail := l.frame()
	text := make([]byte, 0, len(head)+len(tail)+(len(l.Data)+lineBytes-1)/lineBytes*(lineChars+len(lineEnd)))
	text = append(text, head...)
	for rest := l.Data; len(rest) > 0; {
		n := min(lineBytes, len(rest))
		text = base64.StdEncoding.AppendEncode(text, rest[:n])
		text = append(text, lineEnd...)
		rest = rest[n:]
	}
	return append(text, tail...)
}

// MaxData returns the size of the largest parcel with which the letter is no
// larger than limitBytes: what its headers, its text and base64 leave of it. It is
// exact, and below zero where not even an empty parcel fits.
func (l Letter) MaxData(limitBytes int) int {
	head, tail := l.frame()
	room := limitBytes - len(head) - len(tail)
	if room < 0 {
		return -1
	}
	const line = lineChars + len(lineEnd)
	last := max(0, room%line-len(lineEnd)) / 4 * 3 // bytes in a last line that is not full
	return room/line*lineBytes + last
}

// frame returns what stands before and behind the encoded parcel. Its length does
// not depend on the parcel, of which nothing but the digest stands in it.
func (l Letter) frame() (head, tail string) {
	name := l.Name.String()
	mark := strings.TrimSuffix(name, ".parcel")
	boundary := "=_" + l.Name.Digest // "=_" stands in no text of ours and in no base64
	var b strings.Builder
	field := func(name, value string) { b.WriteString(fold(name+": "+value) + lineEnd) }
	field("Date", l.Date.UTC().Format("Mon, 02 Jan 2006 15:04:05 +0000"))
	field("From", l.From.String())
	field("To", l.To.String())
	subject := "pulk: parcel from " + l.FromCode + " for " + l.ToCode
	if l.Campaign != "" {
		subject += " (" + l.Campaign + ")"
	}
	field("Subject", mime.QEncoding.Encode("utf-8", subject))
	field("Message-ID", fmt.Sprintf("<%s.%d@%s>", mark, l.Date.Unix(), domain(l.From.Address)))
	field("Auto-Submitted", "auto-generated") // RFC 3834: answering machines keep still
	field("MIME-Version", "1.0")
	field("Content-Type", mime.FormatMediaType("multipart/mixed", map[string]string{"boundary": boundary}))
	b.WriteString(lineEnd + "--" + boundary + lineEnd)
	field("Content-Type", "text/plain; charset=us-ascii")
	field("Content-Transfer-Encoding", "7bit")
	b.WriteString(lineEnd + strings.ReplaceAll(l.text(), "\n", lineEnd) + "--" + boundary + lineEnd)
	field("Content-Type", mime.FormatMediaType("application/octet-stream", map[string]string{"name": name}))
	field("Content-Transfer-Encoding", "base64")
	field("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	b.WriteString(lineEnd)
	return b.String(), "--" + boundary + "--" + lineEnd
}

// text tells a person what this mail is and what to do with it.
func (l Letter) text() string {
	return `This mail carries records of the program pulk from site ` + l.FromCode + `
for site ` + l.ToCode + `.

If pulk reads this mailbox there is nothing to do: let the mail lie.
If not, save the attachment as it is, and run where the store of ` + l.ToCode + ` is:

    pulk bundle take ` + l.Name.String() + `

The attachment is signed: what was changed on its way is refused. Taking it
twice does no harm. Nobody reads answers to this mail.
`
}

// fold breaks a header field at spaces into lines of at most 78 characters, where
// it has spaces to break at.
func fold(field string) string {
	var b strings.Builder
	column := 0
	for i, word := range strings.Split(field, " ") {
		if i > 0 && column+1+len(word) > 78 && column > 0 && word != "" {
			b.WriteString(lineEnd)
			column = 0
		}
		if i > 0 {
			b.WriteByte(' ')
			column++
		}
		b.WriteString(word)
		column += len(word)
	}
	return b.String()
}

func domain(address string) string {
	if _, domain, found := strings.Cut(address, "@"); found && domain != "" {
		return domain
	}
	return "localhost"
}

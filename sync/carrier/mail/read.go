package mail

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	netmail "net/mail"
	"strings"

	"pulk/sync/carrier"
)

// Bounds of what is read of one mail. What lies beyond them is no mail of ours,
// and is left alone.
const (
	maxMessageBytes = 64 << 20 // read of a mail, never held at once
	maxHeaderBytes  = 256 << 10
	maxParts        = 500
	maxDepth        = 8
	maxFoundBytes   = 2 * carrier.MaxFile // in the parcels of one mail together
)

// Attachment is a parcel found in a mail.
type Attachment struct {
	Name  string // as it was sent, its first 255 bytes; a gateway may have changed or lost it
	Bytes int
	Data  []byte // where it was asked for
}

// errBeyond ends the reading of a mail that goes beyond a bound.
var errBeyond = errors.New("mail goes beyond what is read of one")

// Parcels returns the parcels in a mail, in order: the attachments that have the
// name of a parcel, or begin as one does. Text, pictures and other attachments are
// passed over, mails within the mail are looked into. Of an attachment that is cut
// short or badly encoded what can be read is returned, so that whoever opens it
// can say what is wrong.
func Parcels(message io.Reader) ([]Attachment, error) {
	return parcelsIn(message, func(int) (bool, int) { return true, 0 })
}

// parcelsIn is [Parcels] with the data of those alone that are asked for by their number,
// from 1, and of how many bytes they are, where that is known.
func parcelsIn(message io.Reader, asked func(number int) (yes bool, size int)) ([]Attachment, error) {
	r := reader{asked: asked}
	err := r.message(io.LimitReader(message, maxMessageBytes), 0)
	if err != nil {
		return nil, err
	}
	return r.found, nil
}

type reader struct {
	asked func(number int) (yes bool, size int)
	found []Attachment
	parts int
	bytes int // of found
}

// message reads a header and what it describes.
func (r *reader) message(raw io.Reader, depth int) error {
	buffered := bufio.NewReader(raw)
	head, err := readHead(buffered)
	if err != nil {
		return err
	}
	parsed, err := netmail.ReadMessage(bytes.NewReader(head))
	if err != nil {
		return err
	}
	return r.entity(parsed.Header, buffered, depth)
}

// readHead reads up to the first empty line.
func readHead(raw *bufio.Reader) ([]byte, error) {
	var head []byte
	lineStart := 0
	for {
		piece, err := raw.ReadSlice('\n')
		head = append(head, piece...)
		line := head[lineStart:]
		switch {
		case len(head) > maxHeaderBytes:
			return nil, errBeyond
		case errors.Is(err, bufio.ErrBufferFull):
			continue // the line goes on
		case errors.Is(err, io.EOF):
			return append(head, "\r\n\r\n"...), nil
		case err != nil:
			return nil, err
		case len(bytes.TrimRight(line, "\r\n")) == 0:
			return head, nil
		case lineStart == 0 && bytes.HasPrefix(line, []byte("From ")):
			head = head[:0] // the separator line of a mailbox file
		}
		lineStart = len(head)
	}
}

type header interface{ Get(name string) string }

func (r *reader) entity(h header, body io.Reader, depth int) error {
	if r.parts++; r.parts > maxParts || depth > maxDepth {
		return errBeyond
	}
	kind, params, err := mime.ParseMediaType(h.Get("Content-Type"))
	if err != nil {
		kind = "text/plain" // as RFC 2045 says of what cannot be understood
		if h.Get("Content-Type") != "" {
			kind = "application/octet-stream"
		}
	}
	body = decoded(h.Get("Content-Transfer-Encoding"), body)
	switch {
	case strings.HasPrefix(kind, "multipart/") && params["boundary"] != "":
		return r.multipart(multipart.NewReader(body, params["boundary"]), depth+1)
	case kind == "message/rfc822":
		return r.message(body, depth+1)
	default:
		return r.leaf(nameIn(h, params), body)
	}
}

func (r *reader) multipart(parts *multipart.Reader, depth int) error {
	for {
		part, err := parts.NextRawPart()
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return nil // a mail that was cut short: what came is there
		}
		if err != nil {
			return err
		}
		if err := r.entity(part.Header, part, depth); err != nil {
			return err
		}
	}
}

// leaf keeps a part if it is a parcel.
func (r *reader) leaf(name string, body io.Reader) error {
	start := make([]byte, 2)
	n, err := io.ReadFull(body, start)
	if _, ours := carrier.ParseName(name); !ours && !(err == nil && carrier.LooksLikeParcel(start)) {
		return nil
	}
	room := int64(maxFoundBytes - r.bytes)
	a := Attachment{Name: strings.Clone(name[:min(len(name), 255)])} // not all of the header with it
	var data bytes.Buffer
	into := io.Discard
	yes, size := r.asked(len(r.found) + 1)
	if yes {
		data.Grow(size + bytes.MinRead) // it need not grow again
		data.Write(start[:n])
		into = &data
	}
	rest, err := io.Copy(into, io.LimitReader(body, room+1))
	if int64(n)+rest > room {
		return errBeyond
	}
	if errors.Is(err, errBeyond) {
		return err
	}
	a.Bytes, a.Data = n+int(rest), data.Bytes()
	r.bytes += a.Bytes
	r.found = append(r.found, a)
	return nil
}

// nameIn returns the name of an attachment, wherever the mail program put it.
func nameIn(h header, params map[string]string) string {
	if _, disposition, err := mime.ParseMediaType(h.Get("Content-Disposition")); err == nil && disposition["filename"] != "" {
		return disposition["filename"]
	}
	return params["name"]
}

// decoded undoes a transfer encoding. One that is not known is left as it is.
func decoded(encoding string, body io.Reader) io.Reader {
	switch strings.ToLower(strings.TrimSpace(encoding)) {
	case "base64":
		return base64.NewDecoder(base64.StdEncoding, &base64Only{from: body})
	case "quoted-printable":
		return quotedprintable.NewReader(body)
	default:
		return body
	}
}

// base64Only drops what is not of the alphabet of base64, as RFC 2045 section 6.8
// asks: gateways add blanks and lines of their own.
type base64Only struct {
	from io.Reader
}

func (b *base64Only) Read(p []byte) (int, error) {
	for {
		n, err := b.from.Read(p)
		kept := 0
		for _, c := range p[:n] {
			if c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '+' || c == '/' || c == '=' {
				p[kept] = c
				kept++
			}
		}
		if kept > 0 || err != nil {
			return kept, err
		}
	}
}

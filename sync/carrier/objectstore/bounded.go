package objectstore

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
)

// Bounds of an answer that is read whole, as XML: a page of a listing, or what went
// wrong. A page holds pageObjects at the most, as that is what is asked for, of keys of
// up to 1,024 bytes, each of which may be spelled by three, and of some ten elements.
const (
	pageObjects    = 200
	maxAnswerBytes = 1 << 20
	maxAnswerMarks = 30 * pageObjects // "<", of which an element has one or two
)

// bounded is a transport that breaks answers off which no store gives: the client reads
// XML without a bound, and an object of eleven bytes takes a thousand in memory. The
// content of an object is let through, as its reader bounds it.
type bounded struct{ http.RoundTripper }

func (b bounded) RoundTrip(request *http.Request) (*http.Response, error) {
	response, err := b.RoundTripper.RoundTrip(request)
	if err == nil && (request.URL.RawQuery != "" || response.StatusCode >= http.StatusBadRequest) {
		response.Body = &answer{ReadCloser: response.Body}
	}
	return response, err
}

// answer is the body of an answer that is bounded.
type answer struct {
	io.ReadCloser
	read, marks int
}

func (a *answer) Read(p []byte) (int, error) {
	n, err := a.ReadCloser.Read(p)
	a.read += n
	a.marks += bytes.Count(p[:n], []byte("<"))
	if a.read > maxAnswerBytes || a.marks > maxAnswerMarks {
		return 0, fmt.Errorf("the store answers with more than %d bytes or %d marks of XML", maxAnswerBytes, maxAnswerMarks)
	}
	return n, err
}

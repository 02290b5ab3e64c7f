package link

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// jsonReader reads JSON token by token, so that what it holds stays small, and
// knows the line it stands in.
type jsonReader struct {
	data    []byte
	decoder *json.Decoder
	offset  int64 // up to which lines are counted
	lines   int
}

// parseOMMJSON reads an object, or an array of objects, whose keys are the keywords
// of the standard and whose values are numbers or strings, as the public
// catalogues give them; 502.0-B itself lays down KVN and XML only.
func parseOMMJSON(data []byte) ([]Elements, error) {
	r := &jsonReader{data: data, decoder: json.NewDecoder(bytes.NewReader(data))}
	r.decoder.UseNumber()
	var m messages
	first, err := r.token()
	switch {
	case err != nil:
	case first == json.Delim('{'):
		err = r.object(&m)
	default:
		err = r.array(&m)
	}
	if err != nil {
		return nil, err
	}
	if _, err := r.decoder.Token(); !errors.Is(err, io.EOF) {
		return nil, r.fail("JSON", "more after the end", "one object, or one array of objects")
	}
	return m.sets, nil
}

func (r *jsonReader) line() int {
	offset := r.decoder.InputOffset()
	r.lines += bytes.Count(r.data[r.offset:offset], []byte("\n"))
	r.offset = offset
	return 1 + r.lines
}

func (r *jsonReader) fail(field, found, expected string) error {
	return &ParseError{Line: r.line(), Field: field, Found: found, Expected: expected}
}

func (r *jsonReader) token() (json.Token, error) {
	token, err := r.decoder.Token()
	if err != nil {
		return nil, r.fail("JSON", err.Error(), "an object, or an array of objects")
	}
	return token, nil
}

// array reads the objects of an array whose bracket is read.
func (r *jsonReader) array(m *messages) error {
	for r.decoder.More() {
		token, err := r.token()
		if err != nil {
			return err
		}
		if token != json.Delim('{') {
			return r.fail("JSON", fmt.Sprint(token), "an object of fields")
		}
		if err := r.object(m); err != nil {
			return err
		}
	}
	_, err := r.token()
	return err
}

// object reads the fields of an object whose brace is read.
func (r *jsonReader) object(m *messages) error {
	if err := m.begin(r.line()); err != nil {
		return err
	}
	for r.decoder.More() {
		key, err := r.token()
		if err != nil {
			return err
		}
		name, _ := key.(string)
		if _, counts := ommUnits[name]; !counts {
			if err := r.skip(); err != nil {
				return err
			}
			continue
		}
		text, err := r.scalar(name)
		if err != nil {
			return err
		}
		if err := m.current.add(name, text, "", r.line()); err != nil {
			return err
		}
	}
	if _, err := r.token(); err != nil {
		return err
	}
	return m.end()
}

// scalar reads a number or a string; null is "".
func (r *jsonReader) scalar(name string) (string, error) {
	value, err := r.token()
	if err != nil {
		return "", err
	}
	switch value := value.(type) {
	case string:
		return value, nil
	case json.Number:
		return value.String(), nil
	case nil:
		return "", nil
	}
	return "", r.fail(name, fmt.Sprint(value), "a number or a string")
}

// jsonDepthMax is more than anyone nests in a field that is passed over.
const jsonDepthMax = 32

// skip passes over one value.
func (r *jsonReader) skip() error {
	for depth := 0; ; {
		if depth > jsonDepthMax {
			return r.fail("JSON", fmt.Sprintf("more than %d brackets within each other", jsonDepthMax), "fewer")
		}
		token, err := r.token()
		if err != nil {
			return err
		}
		switch token {
		case json.Delim('{'), json.Delim('['):
			depth++
		case json.Delim('}'), json.Delim(']'):
			depth--
		}
		if depth <= 0 {
			return nil
		}
	}
}

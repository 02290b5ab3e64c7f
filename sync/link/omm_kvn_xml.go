package link

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
)

// messages gathers the OMMs of one text.
type messages struct {
	sets    []Elements
	current *ommFields
}

// begin ends the message before and starts another.
func (m *messages) begin(line int) error {
	if err := m.end(); err != nil {
		return err
	}
	if len(m.sets) == ElementsSetsMax {
		return tooMany(line)
	}
	m.current = newOMMFields(line, len(m.sets)+1)
	return nil
}

func (m *messages) end() error {
	if m.current == nil {
		return nil
	}
	e, err := m.current.elements()
	m.sets, m.current = append(m.sets, e), nil
	return err
}

// parseOMMKVN reads "KEYWORD = value [unit]" lines; each CCSDS_OMM_VERS begins a
// message.
func parseOMMKVN(data []byte) ([]Elements, error) {
	var m messages
	for number := 1; len(data) > 0; number++ {
		var raw []byte
		raw, data, _ = bytes.Cut(data, []byte("\n"))
		line := strings.TrimSpace(string(raw))
		if line == "" || line == "COMMENT" || strings.HasPrefix(line, "COMMENT ") {
			continue
		}
		name, value, ok := strings.Cut(line, "=")
		if !ok {
			return nil, &ParseError{Line: number, Found: line, Expected: "KEYWORD = value, or COMMENT"}
		}
		name, value = strings.TrimSpace(name), strings.TrimSpace(value)
		if name == "CCSDS_OMM_VERS" {
			if err := m.begin(number); err != nil {
				return nil, err
			}
		}
		if m.current == nil {
			return nil, &ParseError{Line: number, Field: name, Found: line, Expected: "CCSDS_OMM_VERS first"}
		}
		unit := ""
		if ommUnits[name] != "" {
			value, unit = cutUnit(value)
		}
		if err := m.current.add(name, value, unit, number); err != nil {
			return nil, err
		}
	}
	err := m.end()
	return m.sets, err
}

// cutUnit splits "51.64 [deg]".
func cutUnit(value string) (string, string) {
	number, unit, ok := strings.Cut(value, "[")
	if !ok || !strings.HasSuffix(unit, "]") {
		return value, ""
	}
	return strings.TrimSpace(number), strings.TrimSpace(strings.TrimSuffix(unit, "]"))
}

// xmlBytesMax bounds the attributes that a tag can have: they take 16 times their
// text. It is room for some 800 satellites.
const xmlBytesMax = 1 << 20

// xmlDepthMax is more than an OMM nests (ndm, omm, body, segment, data, group, field).
const xmlDepthMax = 16

// parseOMMXML reads <omm> elements, alone or within <ndm>. What counts are the
// fields, whatever they stand in.
func parseOMMXML(data []byte) ([]Elements, error) {
	if len(data) > xmlBytesMax {
		return nil, &ParseError{Field: "size", Found: fmt.Sprintf("%d bytes of XML", len(data)),
			Expected: fmt.Sprintf("at most %d; keep the satellites that you use, or take another format", xmlBytesMax)}
	}
	decoder := xml.NewDecoder(bytes.NewReader(data))
	var m messages
	var open []xml.StartElement
	var text strings.Builder
	for {
		token, err := decoder.RawToken()
		line, _ := decoder.InputPos()
		if errors.Is(err, io.EOF) {
			if len(open) > 0 {
				return nil, &ParseError{Line: line, Field: "XML", Found: "the end", Expected: "</" + open[len(open)-1].Name.Local + ">"}
			}
			return m.sets, nil
		}
		if err != nil {
			return nil, &ParseError{Line: line, Field: "XML", Found: err.Error(), Expected: "well-formed XML in UTF-8"}
		}
		switch token := token.(type) {
		case xml.StartElement:
			if open, err = m.openXML(open, token, line); err != nil {
				return nil, err
			}
			text.Reset()
		case xml.CharData:
			text.Write(token)
		case xml.EndElement:
			if open, err = m.closeXML(open, token, text.String(), line); err != nil {
				return nil, err
			}
			text.Reset()
		}
	}
}

func (m *messages) openXML(open []xml.StartElement, token xml.StartElement, line int) ([]xml.StartElement, error) {
	name := token.Name.Local
	switch {
	case len(open) == xmlDepthMax:
		return nil, &ParseError{Line: line, Field: name, Found: fmt.Sprintf("more than %d elements within each other", xmlDepthMax), Expected: "fewer"}
	case len(open) == 0 && name != "ndm" && name != "omm":
		return nil, &ParseError{Line: line, Field: "XML", Found: "<" + name + ">", Expected: "<omm>, or <ndm> with <omm> in it"}
	case name == "omm" && m.current != nil:
		return nil, &ParseError{Line: line, Field: "XML", Found: "<omm> in <omm>", Expected: "one after the other"}
	case name == "omm":
		if err := m.begin(line); err != nil {
			return nil, err
		}
		for _, attribute := range token.Attr {
			if attribute.Name.Local == "version" {
				if err := m.current.add("CCSDS_OMM_VERS", attribute.Value, "", line); err != nil {
					return nil, err
				}
			}
		}
	}
	return append(open, token.Copy()), nil
}

func (m *messages) closeXML(open []xml.StartElement, token xml.EndElement, text string, line int) ([]xml.StartElement, error) {
	name := token.Name.Local
	if len(open) == 0 || open[len(open)-1].Name != token.Name {
		return nil, &ParseError{Line: line, Field: "XML", Found: "</" + name + ">", Expected: "the end of what was opened last"}
	}
	start := open[len(open)-1]
	open = open[:len(open)-1]
	if name == "omm" {
		return open, m.end()
	}
	if m.current == nil {
		return open, nil
	}
	unit := ""
	for _, attribute := range start.Attr {
		if attribute.Name.Local == "units" {
			unit = strings.TrimSpace(attribute.Value)
		}
	}
	return open, m.current.add(name, text, unit, line)
}

package main

import (
	"strings"

	"pulk/inventory/manifest"
	"pulk/inventory/stock"
	"pulk/schema/fault"
)

// arrival is one line about what arrived, as it is scanned and typed.
type arrival struct {
	code     string // of a crate, the serial of a unit, or a part number
	quantity string // as typed; empty for one
	lot      string
	lotGiven bool
	crate    string // that it is in; empty for the one that was scanned last

	condition manifest.Condition
	note      string
	seal      string // that was found unbroken on a crate; empty: it was not looked at
	logger    stock.Span
}

const arrivalHelp = `CODE: a crate, a unit's serial, or a part number     CODE 4 lot L2612: so many of a lot
CRATE sealed 00417: it stays shut, its seal is unbroken     CRATE logger -18..2: °C it went through
… damaged WORDS, … temperature WORDS: not as it should be (the rest of the line)
?: what is still missing     book: take in what was scanned     q: leave; what was scanned stays`

// parseArrival reads a line as it is scanned and typed.
func parseArrival(line string) (arrival, error) {
	words := strings.Fields(line)
	if len(words) == 0 {
		return arrival{}, fault.Misuse("scan a code", "the line is empty")
	}
	a := arrival{code: words[0]}
	for i := 1; i < len(words); i++ {
		word := strings.TrimSuffix(words[i], ":")
		argument := func() (string, error) {
			if i++; i == len(words) {
				return "", fault.Misuse("see ?", "%s: what?", word)
			}
			return words[i], nil
		}
		var err error
		switch word {
		case "lot":
			a.lot, err = argument()
			a.lotGiven = true
		case "in":
			a.crate, err = argument()
		case "sealed":
			a.seal, err = argument()
		case "logger":
			var text string
			if text, err = argument(); err == nil {
				a.logger, err = stock.ParseSpan(text)
			}
		case "damaged", "temperature":
			a.condition, a.note = manifest.Damaged, strings.Join(words[i+1:], " ")
			if word == "temperature" {
				a.condition = manifest.WrongTemperature
			}
			i = len(words)
		default:
			if word == "" || word[0] < '0' || word[0] > '9' || a.quantity != "" {
				return arrival{}, fault.Misuse("see ? for how it is typed", "%q is not understood", words[i])
			}
			a.quantity = word
		}
		if err != nil {
			return arrival{}, err
		}
	}
	return a, nil
}

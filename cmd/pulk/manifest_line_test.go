package main

import (
	"strings"
	"testing"

	"pulk/inventory/manifest"
)

// TestParseArrival reads lines as people and scanners type them.
func TestParseArrival(t *testing.T) {
	for line, want := range map[string]arrival{
		"CR-07":                         {code: "CR-07"},
		"  SM3-0107 ":                   {code: "SM3-0107"},
		"CON-011 4":                     {code: "CON-011", quantity: "4"},
		"CON-011 2box+3 lot L2612":      {code: "CON-011", quantity: "2box+3", lot: "L2612", lotGiven: true},
		"CON-011 lot L1 7 in CR-08":     {code: "CON-011", quantity: "7", lot: "L1", lotGiven: true, crate: "CR-08"},
		"CR-07 sealed 00417":            {code: "CR-07", seal: "00417"},
		"CON-011 2 damaged: pins lot x": {code: "CON-011", quantity: "2", condition: manifest.Damaged, note: "pins lot x"},
		"CR-07 temperature":             {code: "CR-07", condition: manifest.WrongTemperature},
		"CR-07 temperature: thawed":     {code: "CR-07", condition: manifest.WrongTemperature, note: "thawed"},
	} {
		got, err := parseArrival(line)
		if err != nil || got != want {
			t.Errorf("%q: %+v, %v; want %+v", line, got, err, want)
		}
	}
	if a, err := parseArrival("CR-07 logger -18..2 sealed 4"); err != nil || a.logger.String() != "-18..2" || a.seal != "4" {
		t.Errorf("a logger: %+v, %v", a, err)
	}
	for line, say := range map[string]string{
		"":                   "empty",
		"CON-011 4 5":        `"5" is not understood`,
		"CON-011 four":       `"four" is not understood`,
		"CON-011 lot":        "lot: what?",
		"CR-07 sealed":       "sealed: what?",
		"CR-07 logger 2":     "no span of temperatures",
		"CR-07 logger 5..-1": "no span of temperatures",
		"CR-07 :":            `":" is not understood`,
	} {
		if _, err := parseArrival(line); err == nil || !strings.Contains(err.Error(), say) {
			t.Errorf("%q: %v, want %q", line, err, say)
		}
	}
}

func FuzzParseArrival(f *testing.F) {
	for _, line := range []string{"CR-07 sealed 00417 logger -18..2", "CON-011 2box lot L1 in CR-1 damaged: x", ": : :", "a lot lot lot"} {
		f.Add(line)
	}
	f.Fuzz(func(t *testing.T, line string) {
		a, err := parseArrival(line)
		if err == nil && (a.code == "" || strings.ContainsAny(a.code+a.lot+a.crate+a.seal, " \t\n")) {
			t.Fatalf("%q: %+v", line, a)
		}
	})
}

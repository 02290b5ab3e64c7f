package main

import (
	"testing"
	"time"
)

func TestVersionInWords(t *testing.T) {
	at := time.Date(2027, 1, 5, 7, 30, 0, 0, time.FixedZone("", 3600))
	for want, v := range map[string]versionJSON{
		"pulk, built without noting its revision":                                       {},
		"pulk 0123456789ab of 2027-01-05 06:30 UTC":                                     {Revision: "0123456789abcdef", RevisionAt: &at},
		"pulk 0123456789ab of 2027-01-05 06:30 UTC, from source that had changed since": {Revision: "0123456789abcdef", RevisionAt: &at, Changed: true},
		"pulk 0123": {Revision: "0123"},
	} {
		if v.String() != want {
			t.Errorf("%q, want %q", v, want)
		}
	}
}

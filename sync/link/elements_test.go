package link

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"
)

// sat is a set as four texts give it: the TLE is case 03 of AIAA 2006-6753, the OMM
// forms were written from it by hand.
const (
	satTLE = "1 06251U 62025E   06176.82412014  .00008885  00000-0  12808-3 0  3985\n" +
		"2 06251  58.0579  54.0425 0030035 139.1568 221.1854 15.56387291  6774\n"
	satKVN = `CCSDS_OMM_VERS = 2.0
COMMENT made up
CREATION_DATE = 2006-06-25T22:00:00
ORIGINATOR = TARN

OBJECT_NAME   = DELTA 1 DEB
OBJECT_ID = 1962-025E
CENTER_NAME = EARTH
REF_FRAME = TEME
TIME_SYSTEM = UTC
MEAN_ELEMENT_THEORY = SGP/SGP4
COMMENT
EPOCH = 2006-176T19:46:43.980096
MEAN_MOTION = 15.56387291 [rev/day]
ECCENTRICITY = 0.0030035
INCLINATION = 58.0579 [deg]
RA_OF_ASC_NODE = 54.0425
ARG_OF_PERICENTER = 139.1568
MEAN_ANOMALY = 221.1854
GM = 398600.8 [km**3/s**2]
EPHEMERIS_TYPE = 0
CLASSIFICATION_TYPE = U
NORAD_CAT_ID = 6251
ELEMENT_SET_NO = 398
REV_AT_EPOCH = 677
BSTAR = 0.00012808 [1/ER]
MEAN_MOTION_DOT = 0.00008885 [rev/day**2]
MEAN_MOTION_DDOT = 0.0 [rev/day**3]
USER_DEFINED_NOTE = left out
`
	satXML = `<?xml version="1.0" encoding="UTF-8"?>
<ndm><omm id="CCSDS_OMM_VERS" version="2.0"><header><CREATION_DATE>2006-06-25T22:00:00</CREATION_DATE><ORIGINATOR>TARN</ORIGINATOR></header>
<body><segment><metadata><OBJECT_NAME>DELTA 1 DEB</OBJECT_NAME><OBJECT_ID>1962-025E</OBJECT_ID><CENTER_NAME>EARTH</CENTER_NAME>
<REF_FRAME>TEME</REF_FRAME><TIME_SYSTEM>UTC</TIME_SYSTEM><MEAN_ELEMENT_THEORY>SGP4</MEAN_ELEMENT_THEORY></metadata>
<data><meanElements><EPOCH>2006-06-25T19:46:43.980096</EPOCH><MEAN_MOTION units="rev/day">15.56387291</MEAN_MOTION>
<ECCENTRICITY>.0030035</ECCENTRICITY><INCLINATION units="deg">58.0579</INCLINATION><RA_OF_ASC_NODE>54.0425</RA_OF_ASC_NODE>
<ARG_OF_PERICENTER>139.1568</ARG_OF_PERICENTER><MEAN_ANOMALY>221.1854</MEAN_ANOMALY></meanElements>
<tleParameters><EPHEMERIS_TYPE>0</EPHEMERIS_TYPE><CLASSIFICATION_TYPE>U</CLASSIFICATION_TYPE><NORAD_CAT_ID>6251</NORAD_CAT_ID>
<ELEMENT_SET_NO>398</ELEMENT_SET_NO><REV_AT_EPOCH>677</REV_AT_EPOCH><BSTAR>.12808E-3</BSTAR>
<MEAN_MOTION_DOT>8.885E-5</MEAN_MOTION_DOT><MEAN_MOTION_DDOT>0</MEAN_MOTION_DDOT></tleParameters></data></segment></body></omm></ndm>
`
	satJSON = `[{"OBJECT_NAME": "DELTA 1 DEB", "OBJECT_ID": "1962-025E", "EPOCH": "2006-06-25T19:46:43.980096",
"MEAN_MOTION": 15.56387291, "ECCENTRICITY": 0.0030035, "INCLINATION": 58.0579, "RA_OF_ASC_NODE": 54.0425,
"ARG_OF_PERICENTER": "139.1568", "MEAN_ANOMALY": 221.1854, "EPHEMERIS_TYPE": 0, "CLASSIFICATION_TYPE": "U",
"NORAD_CAT_ID": 6251, "ELEMENT_SET_NO": 398, "REV_AT_EPOCH": 677, "BSTAR": 0.00012808, "COMMENT": ["a", {"b": 1}],
"MEAN_MOTION_DOT": 8.885e-5, "MEAN_MOTION_DDOT": 0, "CREATION_DATE": "2006-06-25T22:00:00", "ORIGINATOR": "TARN"}]
`
)

// TestFormsAgree reads one satellite from each form, alone and three times over.
func TestFormsAgree(t *testing.T) {
	named := Elements{
		Name: "DELTA 1 DEB", Designator: "1962-025E", CatalogNumber: 6251, Classification: "U",
		Epoch:                       time.Date(2006, 6, 25, 19, 46, 43, 980096000, time.UTC),
		MeanMotionRevolutionsPerDay: 15.56387291, Eccentricity: 0.0030035, InclinationDegrees: 58.0579,
		AscendingNodeDegrees: 54.0425, PericentreDegrees: 139.1568, MeanAnomalyDegrees: 221.1854,
		DragPerEarthRadius: 0.00012808, MeanMotionDot: 0.00008885, ElementSetNumber: 398, RevolutionNumber: 677,
	}
	bare, full := named, named
	bare.Name = ""
	full.Originator, full.Created = "TARN", "2006-06-25T22:00:00"
	one := satJSON[1 : len(satJSON)-2]
	inner := satXML[strings.Index(satXML, "<omm") : len(satXML)-len("</ndm>\n")]
	for _, form := range []struct {
		name, alone, thrice string
		want                Elements
	}{
		{"tle", satTLE, "# a list\n\n" + satTLE + satTLE + "\r\n" + strings.ReplaceAll(satTLE, "\n", "\r\n"), bare},
		{"3le", "0 DELTA 1 DEB\n" + satTLE, strings.Repeat("DELTA 1 DEB   \n"+satTLE, 3), named},
		{"kvn", "\ufeff" + satKVN, satKVN + satKVN + satKVN, full},
		{"xml", satXML, "<ndm>" + inner + inner + inner + "</ndm>", full},
		{"json", one, "[" + one + "," + one + "," + one + "]", full},
	} {
		for text, count := range map[string]int{form.alone: 1, form.thrice: 3} {
			sets, err := ParseElements([]byte(text))
			if err != nil || len(sets) != count {
				t.Errorf("%s: %d sets, want %d: %v", form.name, len(sets), count, err)
			}
			for _, got := range sets {
				if got != form.want {
					t.Errorf("%s:\n%+v, want\n%+v", form.name, got, form.want)
				}
			}
		}
	}
}

// TestOMMReadsBack writes every published set and reads it back.
func TestOMMReadsBack(t *testing.T) {
	for name, v := range verifications(t) {
		again, err := ParseElements([]byte(v.elements.OMM()))
		if err != nil || again[0] != v.elements {
			t.Errorf("case %s: %+v, want %+v: %v", name, again, v.elements, err)
		}
	}
}

func TestAlpha5AndYears(t *testing.T) {
	for _, c := range []struct {
		number, designator, epoch string
		wantNumber                int
		wantDesignator            string
		wantYear                  int
	}{
		{"00005", "58002B  ", "00179.78495062", 5, "1958-002B", 2000},
		{"    5", "        ", "57001.00000000", 5, "", 1957},
		{"A0000", "98067A  ", "56366.00000000", 100000, "1998-067A", 2056},
		{"E8493", "20001ABC", "24060.99999999", 148493, "2020-001ABC", 2024},
		{"J2931", "98067A  ", "24060.50000000", 182931, "1998-067A", 2024}, // I is left out
		{"P4018", "98067A  ", "24060.50000000", 234018, "1998-067A", 2024}, // and O
		{"Z9999", "98067A  ", "24060.50000000", 339999, "1998-067A", 2024},
	} {
		one := "1 " + c.number + "U " + c.designator + " " + c.epoch + satTLE[32:69]
		two := "2 " + c.number + satTLE[77:139]
		sets, err := ParseElements([]byte(sum(one) + "\n" + sum(two)))
		if err != nil {
			t.Errorf("%s: %v", c.number, err)
			continue
		}
		if e := sets[0]; e.CatalogNumber != c.wantNumber || e.Designator != c.wantDesignator || e.Epoch.Year() != c.wantYear {
			t.Errorf("%s: %d %q %v", c.number, e.CatalogNumber, e.Designator, e.Epoch)
		}
	}
}

// sum puts the right checksum on a line.
func sum(line string) string { return line[:68] + fmt.Sprint(tleChecksum(line)) }

// TestMistakes says what each mistake is told as.
func TestMistakes(t *testing.T) {
	swap := func(text, old, new string) string {
		if !strings.Contains(text, old) {
			t.Fatalf("%q is not in the text", old)
		}
		return strings.Replace(text, old, new, 1)
	}
	lines := strings.SplitAfter(satTLE, "\n")
	for _, c := range []struct{ text, want string }{
		{"", `elements: text: found "", expected TLE, 3LE, or OMM as KVN, XML or JSON`},
		{"hello\n", `elements: line 1, name: found "hello", expected two lines of elements after it; or else a TLE, 3LE, or OMM as KVN, XML or JSON`},
		{"hello\nworld\n", `elements: line 2, line 1 of a TLE: found "world", expected 69 characters that begin with "1 ", after the name in line 1`},
		{lines[0], `elements: line 2, line 2 of a TLE: found "the end", expected a line that begins with "2 "`},
		{lines[0] + lines[0], `elements: line 2, column 1: found "1 06251U 62025E   06176.82412014  .00008885  00000-0  12808-…", expected line 2 of a TLE, which begins with "2 "`},
		{swap(satTLE, "58.0579", "58.0578"), `elements: line 2, column 69 (checksum): found "4", expected 3, by the rest of the line; get the elements anew, as a character may be garbled, or accept wrong checksums`},
		{swap(satTLE, " 6774\n", " 677\n"), `elements: line 2, length: found "68 characters", expected 69, with the checksum as last; was a part cut off or added?`},
		{sum(swap(lines[0], "06176.8", "05366.8")) + "\n" + lines[1], `elements: line 1, columns 19-32 (epoch): found "05366.82412014", expected a day of the year 2005, 001 to 365 or 366`},
		{lines[0] + sum(swap(lines[1], "0030035", "00x0035")), `elements: line 2, columns 27-33 (eccentricity): found "00x0035", expected 7 digits, a point before them implied`},
		{lines[0] + sum(swap(lines[1], "06251", "06252")), `elements: line 2, columns 3-7 (catalogue number): found "06252", expected 6251 as in the line before`},
		{sum(swap(lines[0], "12808-3", "12808 e")) + "\n" + lines[1], `elements: line 1, columns 54-61 (B*): found " 12808 e", expected five digits and a power of ten, as in "-11606-4" for -0.11606e-4`},
		{lines[0] + sum(swap(lines[1], " 58.0579", "258.0579")), `elements: line 1, INCLINATION: found "258.0579", expected 0 to 180`},
		{swap(satKVN, "BSTAR = 0.00012808", "BSTAR = 0,00012808"), `elements: line 26, BSTAR: found "0,00012808", expected a number`},
		{swap(satKVN, "BSTAR", "BSTARE"), `elements: line 1, BSTAR: found "nothing", expected a number`},
		{swap(satKVN, "[deg]", "[rad]"), `elements: line 16, INCLINATION: found "unit rad", expected unit deg`},
		{swap(satKVN, "SGP/SGP4", "SGP4-XP"), `elements: line 11, MEAN_ELEMENT_THEORY: found "SGP4-XP", expected one of SGP4, SGP/SGP4, SDP4; others are not read`},
		{swap(satKVN, "TEME", "EME2000"), `elements: line 9, REF_FRAME: found "EME2000", expected one of TEME; others are not read`},
		{swap(satKVN, "GM = 398600.8 [km**3/s**2]", "MEAN_ANOMALY = 1"), `elements: line 20, MEAN_ANOMALY: found "1", expected it once in each message`},
		{swap(satKVN, "MEAN_MOTION = 15.56387291 [rev/day]", "SEMI_MAJOR_AXIS = 6700"), `elements: line 14, SEMI_MAJOR_AXIS: found "6700", expected MEAN_MOTION in its place, as SGP4 takes`},
		{swap(satKVN, "ECCENTRICITY = 0.0", "ECCENTRICITY = 1.0"), `elements: line 15, ECCENTRICITY: found "1.0030035", expected 0 to 1`},
		{swap(satKVN, "19:46:43.980096", "19:46:63.980096"), `elements: line 13, EPOCH: found "2006-176T19:46:63.980096", expected UTC such as 2026-11-30T09:13:00.672000 or 2026-334T09:13:00.672`},
		{swap(satKVN, "ORIGINATOR = TARN", "ORIGINATOR"), `elements: line 4: found "ORIGINATOR", expected KEYWORD = value, or COMMENT`},
		{swap(satXML, "</metadata>", ""), `elements: line 10, XML: found "</segment>", expected the end of what was opened last`},
		{swap(satXML, "<NORAD_CAT_ID>6251", "<NORAD_CAT_ID>6251.5"), `elements: line 8, NORAD_CAT_ID: found "6251.5", expected a whole number`},
		{satXML[:len(satXML)-len("</ndm>\n")], `elements: line 10, XML: found "the end", expected </ndm>`},
		{"<tle/>", `elements: line 1, XML: found "<tle>", expected <omm>, or <ndm> with <omm> in it`},
		{swap(satJSON, "15.56387291", "true"), `elements: line 2, MEAN_MOTION: found "true", expected a number or a string`},
		{swap(satJSON, "0.0030035,", "0.0030035"), `elements: line 2, JSON: found "invalid character '\"' after object key:value pair", expected an object, or an array of objects`},
		{satJSON + "[]", `elements: line 6, JSON: found "more after the end", expected one object, or one array of objects`},
		{"[]", `elements: text: found "no set of elements", expected at least one`},
	} {
		sets, err := ParseElements([]byte(c.text))
		var wrong *ParseError
		if !errors.As(err, &wrong) || err.Error() != c.want {
			t.Errorf("%.80q: %v, %d sets; want %s", c.text, err, len(sets), c.want)
		}
	}
}

// TestWrongChecksumsAccepted reads what is refused without the option.
func TestWrongChecksumsAccepted(t *testing.T) {
	good, err := ParseElements([]byte(satTLE))
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{strings.Replace(satTLE, "6774\n", "6770\n", 1), strings.Replace(satTLE, "6774\n", "677\n", 1)} {
		if _, err := ParseElements([]byte(text)); err == nil {
			t.Errorf("%q is read without the option", text)
		}
		sets, err := ParseElements([]byte(text), AcceptWrongChecksums)
		if err != nil || sets[0] != good[0] {
			t.Errorf("%q: %+v, %v", text, sets, err)
		}
	}
}

func TestBounds(t *testing.T) {
	_, err := ParseElements(make([]byte, ElementsBytesMax+1))
	if err == nil || !strings.Contains(err.Error(), "at most 4194304") {
		t.Errorf("too long a text: %v", err)
	}
	for name, text := range map[string]string{
		"tle":  strings.Repeat(satTLE, ElementsSetsMax+1),
		"xml":  strings.Repeat("<omm>", xmlDepthMax+1),
		"long": "<omm>" + strings.Repeat(" ", xmlBytesMax),
		"json": `[{"a":` + strings.Repeat("[", 1<<20),
	} {
		if _, err := ParseElements([]byte(text)); err == nil || !strings.Contains(err.Error(), "expected") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// fuzzElements holds a reader to: no panic; what it reads is written and read back
// as the same elements, in the same bytes.
func fuzzElements(f *testing.F, read func([]byte) ([]Elements, error), seeds ...string) {
	for _, seed := range seeds {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 1<<16 {
			return
		}
		sets, err := read(data)
		if err != nil {
			return
		}
		for _, e := range sets {
			text := e.OMM()
			again, err := ParseElements([]byte(text))
			if err != nil {
				t.Fatalf("%v\n%s", err, text)
			}
			if again[0] != e || again[0].OMM() != text {
				t.Fatalf("%+v, want %+v", again[0], e)
			}
			if orbit, err := NewOrbit(e); err == nil {
				_, _ = orbit.At(1000)
			}
		}
	})
}

func FuzzTLE(f *testing.F) {
	read := func(data []byte) ([]Elements, error) { return parseTLE(data, []Option{AcceptWrongChecksums}) }
	fuzzElements(f, read, satTLE, "0 DELTA 1 DEB\n"+satTLE)
}

func FuzzOMMKVN(f *testing.F)  { fuzzElements(f, parseOMMKVN, satKVN) }
func FuzzOMMXML(f *testing.F)  { fuzzElements(f, parseOMMXML, satXML) }
func FuzzOMMJSON(f *testing.F) { fuzzElements(f, parseOMMJSON, satJSON) }

func FuzzElements(f *testing.F) {
	read := func(data []byte) ([]Elements, error) { return ParseElements(data, AcceptWrongChecksums) }
	fuzzElements(f, read, satTLE, satKVN, satXML, satJSON)
}

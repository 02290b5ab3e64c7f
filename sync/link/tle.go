package link

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// tleLength is the length of a line; the last character is its checksum.
const tleLength = 69

// parseTLE reads two-line elements, each perhaps under a line with the name
// (plain, or after "0 "). Empty lines, and lines that begin with #, are left out.
//
// Source: the layout of the columns is that of Hoots & Roehrich (1980), Spacetrack
// Report #3, as carried on in AIAA 2006-6753, appendix.
func parseTLE(data []byte, options []Option) ([]Elements, error) {
	var sets []Elements
	name, first := "", tleLine{}
	nameLine := 0
	for number := 1; len(data) > 0; number++ {
		var raw []byte
		raw, data, _ = bytes.Cut(data, []byte("\n"))
		line := tleLine{strings.TrimRight(string(raw), " \t\r"), number}
		switch {
		case line.text == "" || strings.HasPrefix(line.text, "#"):
		case first.number > 0:
			e, err := readTLE(name, first, line, slices.Contains(options, AcceptWrongChecksums))
			if err != nil {
				return nil, err
			}
			if len(sets) == ElementsSetsMax {
				return nil, tooMany(number)
			}
			sets = append(sets, e)
			name, nameLine, first = "", 0, tleLine{}
		case strings.HasPrefix(line.text, "1 ") && len(line.text) >= tleLength-1:
			first = line
		case nameLine > 0:
			return nil, &ParseError{Line: number, Field: "line 1 of a TLE", Found: line.text,
				Expected: fmt.Sprintf(`%d characters that begin with "1 ", after the name in line %d`, tleLength, nameLine)}
		default:
			name, nameLine = known(strings.TrimPrefix(line.text, "0 ")), number
			if !plainText(name) {
				return nil, &ParseError{Line: number, Field: "name", Found: line.text, Expected: fmt.Sprintf("a name of at most %d bytes, or elements: TLE, 3LE, or OMM as KVN, XML or JSON", textFieldMax)}
			}
		}
	}
	if first.number > 0 {
		return nil, &ParseError{Line: first.number + 1, Field: "line 2 of a TLE", Found: "the end", Expected: `a line that begins with "2 "`}
	}
	if nameLine > 0 {
		return nil, &ParseError{Line: nameLine, Field: "name", Found: name, Expected: "two lines of elements after it; or else a TLE, 3LE, or OMM as KVN, XML or JSON"}
	}
	return sets, nil
}

// tleLine is one line with its number in the text, from 1.
type tleLine struct {
	text   string
	number int
}

// check holds a line to its number, length, characters and checksum.
func (l tleLine) check(number string, acceptChecksum bool) error {
	bad := func(field, found, expected string) error {
		return &ParseError{Line: l.number, Field: field, Found: found, Expected: expected}
	}
	if !strings.HasPrefix(l.text, number+" ") {
		return bad("column 1", l.text, fmt.Sprintf("line %s of a TLE, which begins with %q", number, number+" "))
	}
	if i := strings.IndexFunc(l.text, func(r rune) bool { return r < ' ' || r > '~' }); i >= 0 {
		return bad(fmt.Sprintf("column %d", i+1), l.text[i:], "letters, digits and blanks only")
	}
	if len(l.text) == tleLength-1 && acceptChecksum {
		return nil
	}
	if len(l.text) != tleLength {
		return bad("length", fmt.Sprintf("%d characters", len(l.text)), fmt.Sprintf("%d, with the checksum as last; was a part cut off or added?", tleLength))
	}
	if want := strconv.Itoa(tleChecksum(l.text)); l.text[tleLength-1:] != want && !acceptChecksum {
		return bad("column 69 (checksum)", l.text[tleLength-1:], want+", by the rest of the line; get the elements anew, as a character may be garbled, or accept wrong checksums")
	}
	return nil
}

// tleChecksum is the sum of the digits of the first 68 characters, each minus
// counting 1, modulo 10.
func tleChecksum(line string) int {
	sum := 0
	for _, c := range []byte(line[:min(len(line), tleLength-1)]) {
		switch {
		case c >= '0' && c <= '9':
			sum += int(c - '0')
		case c == '-':
			sum++
		}
	}
	return sum % 10
}

func readTLE(name string, one, two tleLine, acceptChecksum bool) (Elements, error) {
	if err := one.check("1", acceptChecksum); err != nil {
		return Elements{}, err
	}
	if err := two.check("2", acceptChecksum); err != nil {
		return Elements{}, err
	}
	a, b := columns{line: one}, columns{line: two}
	e := Elements{
		Name:             name,
		CatalogNumber:    a.catalogNumber(3, 7),
		Classification:   a.text(8, 8),
		Designator:       a.designator(10, 17),
		Epoch:            a.epoch(19, 32),
		MeanMotionDot:    a.number("first derivative of mean motion", 34, 43),
		MeanMotionDDot:   a.scientific("second derivative of mean motion", 45, 52),
		EphemerisType:    a.whole("ephemeris type", 63, 63),
		ElementSetNumber: a.whole("element set number", 65, 68),
	}
	e.DragPerEarthRadius = a.scientific("B*", 54, 61)
	if second := b.catalogNumber(3, 7); second != e.CatalogNumber {
		b.fail("catalogue number", 3, 7, fmt.Sprintf("%d as in the line before", e.CatalogNumber))
	}
	e.InclinationDegrees = b.number("inclination", 9, 16)
	e.AscendingNodeDegrees = b.number("right ascension of the node", 18, 25)
	e.Eccentricity = b.fraction("eccentricity", 27, 33)
	e.PericentreDegrees = b.number("argument of pericentre", 35, 42)
	e.MeanAnomalyDegrees = b.number("mean anomaly", 44, 51)
	e.MeanMotionRevolutionsPerDay = b.number("mean motion", 53, 63)
	e.RevolutionNumber = b.whole("revolution number", 64, 68)
	if a.err != nil {
		return Elements{}, a.err
	}
	if b.err != nil {
		return Elements{}, b.err
	}
	if err := e.Check(); err != nil {
		return Elements{}, placed(err, one.number, 0)
	}
	return e, nil
}

// placed adds to a ParseError where it is.
func placed(err error, line, set int) error {
	if e, ok := err.(*ParseError); ok && e.Line == 0 && e.Set == 0 {
		e.Line, e.Set = line, set
	}
	return err
}

// columns reads fields of a line by their columns, counted from 1, and keeps the
// first error.
type columns struct {
	line tleLine
	err  error
}

func (c *columns) raw(from, to int) string {
	if to > len(c.line.text) {
		return ""
	}
	return c.line.text[from-1 : to]
}

func (c *columns) text(from, to int) string { return strings.TrimSpace(c.raw(from, to)) }

func (c *columns) fail(field string, from, to int, expected string) {
	if c.err == nil {
		where := fmt.Sprintf("columns %d-%d (%s)", from, to, field)
		c.err = &ParseError{Line: c.line.number, Field: where, Found: c.raw(from, to), Expected: expected}
	}
}

// number reads a decimal number, such as " 51.6400" or "-.00002182".
func (c *columns) number(field string, from, to int) float64 {
	n, ok := decimal(c.text(from, to))
	if !ok {
		c.fail(field, from, to, "a number such as 51.6400")
	}
	return n
}

// whole reads digits; blank is 0.
func (c *columns) whole(field string, from, to int) int {
	s := c.text(from, to)
	if s == "" {
		return 0
	}
	if !digits(s) {
		c.fail(field, from, to, "digits or blank")
		return 0
	}
	n, _ := strconv.Atoi(s)
	return n
}

// fraction reads digits after an implied point.
func (c *columns) fraction(field string, from, to int) float64 {
	s := strings.ReplaceAll(c.raw(from, to), " ", "0")
	if !digits(s) {
		c.fail(field, from, to, fmt.Sprintf("%d digits, a point before them implied", to-from+1))
		return 0
	}
	n, _ := decimal("." + s)
	return n
}

// scientific reads a sign or blank, five digits after an implied point, and a
// power of ten with its sign: "-11606-4" is -0.11606e-4. All blank is 0.
func (c *columns) scientific(field string, from, to int) float64 {
	s := c.raw(from, to)
	if strings.TrimSpace(s) == "" {
		return 0
	}
	sign, mantissa, power := s[:1], strings.ReplaceAll(s[1:6], " ", "0"), strings.ReplaceAll(s[6:], " ", "+")
	if !strings.Contains(" +-", sign) || !digits(mantissa) || !strings.Contains("+-", power[:1]) || !digits(power[1:]) {
		c.fail(field, from, to, `five digits and a power of ten, as in "-11606-4" for -0.11606e-4`)
		return 0
	}
	n, _ := decimal(strings.TrimSpace(sign) + "." + mantissa + "e" + power)
	return n
}

// catalogNumber reads five digits, or, above 99999, a letter for the first two
// ("alpha-5": A is 10, Z is 33; I and O are left out).
func (c *columns) catalogNumber(from, to int) int {
	s := strings.ReplaceAll(c.raw(from, to), " ", "0")
	letters := "0123456789ABCDEFGHJKLMNPQRSTUVWXYZ"
	first := strings.IndexByte(letters, s[0])
	if first < 0 || !digits(s[1:]) {
		c.fail("catalogue number", from, to, "five digits, or a letter (not I or O) and four digits")
		return 0
	}
	n, _ := strconv.Atoi(s[1:])
	return first*10000 + n
}

// designator reads two digits of the year, three of the launch and the piece; what
// is not of that shape is kept as it is.
func (c *columns) designator(from, to int) string {
	s := c.text(from, to)
	if len(s) < 6 || !digits(s[:5]) {
		return known(s)
	}
	return fmt.Sprintf("%d-%s", fullYear(s[:2]), s[2:])
}

// fullYear is the year of two digits: 57 and above are of the last century.
func fullYear(twoDigits string) int {
	year, _ := strconv.Atoi(twoDigits)
	if year < 57 {
		return 2000 + year
	}
	return 1900 + year
}

// epoch reads two digits of the year and the day with its fraction, 1 being the
// first of January 0:00 UTC.
func (c *columns) epoch(from, to int) time.Time {
	s := strings.ReplaceAll(c.raw(from, to), " ", "0")
	if !digits(s[:5]) || s[5] != '.' || !digits(s[6:]) {
		c.fail("epoch", from, to, "year and day such as 08264.51782528")
		return time.Time{}
	}
	year := fullYear(s[:2])
	day, _ := strconv.Atoi(s[2:5])
	fraction, _ := strconv.ParseInt(s[6:], 10, 64) // in 1e-8 day, or 864,000 ns
	midnight := time.Date(year, time.January, day, 0, 0, 0, 0, time.UTC)
	if day < 1 || midnight.Year() != year {
		c.fail("epoch", from, to, fmt.Sprintf("a day of the year %d, 001 to 365 or 366", year))
		return time.Time{}
	}
	return midnight.Add(time.Duration(fraction * 864000))
}

// digits says whether there are digits and nothing else.
func digits(s string) bool {
	return s != "" && strings.Trim(s, "0123456789") == ""
}

// decimal reads a plain decimal number, perhaps with a power of ten; no names, no
// hexadecimals, no minus zero.
func decimal(s string) (float64, bool) {
	if s == "" || strings.Trim(s, "+-.0123456789eE") != "" {
		return 0, false
	}
	n, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0, false
	}
	if n == 0 {
		return 0, true // -0 too
	}
	return n, true
}

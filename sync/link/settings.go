package link

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Open says what makes a link open.
type Open int

// What makes a link open.
const (
	Never        Open = iota // nothing was said
	ByAlways                 // it never closes
	ByWindows                // daily windows
	BySatellites             // while one of its satellites is in sight
)

// Description is what a link is: when it is open, and what it carries then, as seen
// from the site that it is described for.
type Description struct {
	Open    Open
	Windows []Window
	Site    Site // for satellites
	// Satellites are the catalogue numbers of those that it uses; none: all that
	// elements are given for.
	Satellites []int
	Budget     Budget
	// BundleEvery and RepairContacts are as in a [Question].
	BundleEvery    time.Duration
	RepairContacts int
	// ElementsWarn and ElementsRefuse are the ages from which elements are warned
	// about, and not used without being told to.
	ElementsWarn, ElementsRefuse time.Duration
}

// Setting is one value of a description that people set: by a line in a file, by a
// flag, or later by a change of it.
type Setting struct {
	Name     string // in files and in the log; as a flag with hyphens
	Usage    string // the value's name in `quotes`
	Default  string // the value where none is given; empty: none
	Expected string // what it may be
	// OfSatellites says that it matters only where satellites open the link.
	OfSatellites bool
	set          func(*Description, string) bool
}

// SettingError says which setting cannot be meant.
type SettingError struct {
	Name, Value, Expected string
	Missing               bool // there is none, and it is needed
}

func (e *SettingError) Error() string {
	if e.Missing {
		return fmt.Sprintf("%s is not set; expected %s", e.Name, e.Expected)
	}
	return fmt.Sprintf("%s is %q; expected %s", e.Name, e.Value, e.Expected)
}

// Settings lists all settings, in the order in which they are shown.
func Settings() []Setting { return settings }

// LookupSetting returns a setting by its name, or nil.
func LookupSetting(name string) *Setting {
	for i := range settings {
		if settings[i].Name == name {
			return &settings[i]
		}
	}
	return nil
}

var settings = []Setting{
	{"open", "when it is open: `WHEN` is always, satellites, or daily windows in UTC such as \"06:00-09:30, 22:30-00:15\"", "",
		`always, satellites, or daily windows in UTC such as "06:00-09:30, 22:30-00:15"`, false, setOpen},
	{"satellites", "catalogue `NUMBERS` of the satellites that it uses (else all that elements are given for)", "",
		`catalogue numbers such as "25338, 28654"`, true, setSatellites},
	{"latitude_degrees", "where the antenna is: `DEGREES`, negative in the south", "", "degrees from -90 to 90",
		true, inRange(-90, 90, func(d *Description, x float64) { d.Site.LatitudeDegrees = x })},
	{"longitude_degrees", "where the antenna is: `DEGREES`, negative in the west", "", "degrees from -180 to 180",
		true, inRange(-180, 180, func(d *Description, x float64) { d.Site.LongitudeDegrees = x })},
	{"height_metres", "height of the antenna above the ellipsoid, in `METRES`", "0", "metres from -500 to 9000",
		true, inRange(-500, 9000, func(d *Description, x float64) { d.Site.HeightMetres = x })},
	{"mask", "lowest elevation in `DEGREES` at which it works, or azimuth:elevation all around such as \"0:5, 90:12, 200:8\"", "10",
		`degrees of elevation from 0 to 90, or azimuth:elevation in the order of azimuth such as "0:5, 90:12, 200:8"`, true, setMask},
	{"out_bits_per_second", "rate from this site, in `BIT/S`", "", "bit/s above 0, at most 1e12",
		false, inRange(1e-3, 1e12, func(d *Description, x float64) { d.Budget.SendBitsPerSecond = x })},
	{"back_bits_per_second", "rate to this site, in `BIT/S`; 0: there is no way back", "", "bit/s from 0 to 1e12",
		false, inRange(0, 1e12, func(d *Description, x float64) { d.Budget.ReceiveBitsPerSecond = x })},
	{"loss_percent", "how many of a hundred messages do not arrive: `PERCENT`", "0", "from 0 to 99",
		false, inRange(0, 99, func(d *Description, x float64) { d.Budget.LossShare = x / 100 })},
	{"overhead_bytes", "what the carrier adds to each message, in `BYTES`", "0", "bytes from 0 to 1000000",
		false, wholeInRange(0, 1e6, func(d *Description, n int) { d.Budget.OverheadBytes = n })},
	{"message_bytes", "what a message holds at most, in `BYTES`; 0: any size", "0", "bytes, 0 or from 64 to 1000000000", false, setMessage},
	{"parity_percent", "how many messages more are sent, for those that get lost: `PERCENT`", "0", "from 0 to 300",
		false, inRange(0, 300, func(d *Description, x float64) { d.Budget.ParityShare = x / 100 })},
	{"cents_per_kilobyte", "price of 1,000 bytes on the link, in hundredths of your `MONEY`", "0", "0 or above",
		false, inRange(0, 1e9, func(d *Description, x float64) { d.Budget.CentsPerByte = x / 1000 })},
	{"bundle_minutes", "how often a bundle is made while it is open, in `MINUTES`", "60", "minutes from 1 to 1440",
		false, wholeInRange(1, 1440, func(d *Description, n int) { d.BundleEvery = time.Duration(n) * time.Minute })},
	{"repair_contacts", "after how many `CONTACTS` a lost message is sent again", "1", "from 1 to 100",
		false, wholeInRange(1, 100, func(d *Description, n int) { d.RepairContacts = n })},
	{"elements_warn_days", "age of satellite elements that is warned about, in `DAYS`", "7", "days from 0 to 3650",
		true, inRange(0, 3650, func(d *Description, x float64) { d.ElementsWarn = ofDays(x) })},
	{"elements_refuse_days", "age of satellite elements that is refused, in `DAYS`", "30", "days from 0 to 3650",
		true, inRange(0, 3650, func(d *Description, x float64) { d.ElementsRefuse = ofDays(x) })},
}

func ofDays(x float64) time.Duration { return time.Duration(x * float64(day)) }

// inRange makes the setter of a number in a range.
func inRange(least, most float64, set func(*Description, float64)) func(*Description, string) bool {
	return func(d *Description, text string) bool {
		x, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(x) || x < least || x > most || strings.ContainsAny(text, "xXpP_") {
			return false
		}
		set(d, x)
		return true
	}
}

// wholeInRange makes the setter of a whole number in a range.
func wholeInRange(least, most int, set func(*Description, int)) func(*Description, string) bool {
	return func(d *Description, text string) bool {
		n, err := strconv.Atoi(text)
		if err != nil || n < least || n > most {
			return false
		}
		set(d, n)
		return true
	}
}

// messageBytesLeast leaves room for a fragment's header.
const messageBytesLeast = 64

func setMessage(d *Description, text string) bool {
	n, err := strconv.Atoi(text)
	if err != nil || n != 0 && n < messageBytesLeast || n > 1e9 {
		return false
	}
	d.Budget.MessageBytesMax = n
	return true
}

const listMax = 100 // windows, or points of a mask

func setOpen(d *Description, text string) bool {
	switch text {
	case "always":
		d.Open = ByAlways
		return true
	case "satellites":
		d.Open = BySatellites
		return true
	}
	d.Open, d.Windows = ByWindows, nil
	for part := range strings.SplitSeq(text, ",") {
		w, err := ParseWindow(strings.TrimSpace(part))
		if err != nil || len(d.Windows) == listMax {
			return false
		}
		d.Windows = append(d.Windows, w)
	}
	return true
}

func setSatellites(d *Description, text string) bool {
	d.Satellites = nil
	for part := range strings.SplitSeq(text, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(part))
		if err != nil || n < 1 || n > 999_999_999 || len(d.Satellites) == listMax {
			return false
		}
		d.Satellites = append(d.Satellites, n)
	}
	return true
}

// Uses reports whether a link uses a satellite.
func (d Description) Uses(catalogNumber int) bool {
	return len(d.Satellites) == 0 || slices.Contains(d.Satellites, catalogNumber)
}

func setMask(d *Description, text string) bool {
	d.Site.Mask = nil
	last := -1.0
	for part := range strings.SplitSeq(text, ",") {
		azimuth, elevation, ok := strings.Cut(strings.TrimSpace(part), ":")
		if !ok && !strings.Contains(text, ",") {
			azimuth, elevation = "0", azimuth
		}
		a, errA := strconv.ParseFloat(azimuth, 64)
		e, errE := strconv.ParseFloat(elevation, 64)
		if errA != nil || errE != nil || !(a > last && a < 360) || !(e >= 0 && e <= 90) || len(d.Site.Mask) == listMax {
			return false
		}
		d.Site.Mask = append(d.Site.Mask, MaskPoint{a, e})
		last = a
	}
	return true
}

// CheckSetting returns a *SettingError for a value that a setting cannot have, and
// for a setting that there is not.
func CheckSetting(name, value string) error {
	setting := LookupSetting(name)
	if setting == nil {
		return &SettingError{Name: name, Value: value, Expected: "no such setting"}
	}
	if !setting.set(&Description{}, value) {
		return &SettingError{Name: name, Value: value, Expected: setting.Expected}
	}
	return nil
}

// Describe makes a description of the values of settings by name; what is missing
// has its default. The error is a *SettingError.
func Describe(values map[string]string) (Description, error) {
	var d Description
	for _, s := range settings {
		value, given := values[s.Name]
		if !given {
			value = s.Default
		}
		if value == "" {
			continue
		}
		if !s.set(&d, value) {
			return d, &SettingError{Name: s.Name, Value: value, Expected: s.Expected}
		}
	}
	needed := []string{"open", "out_bits_per_second", "back_bits_per_second"}
	if d.Open == BySatellites {
		needed = append(needed, "latitude_degrees", "longitude_degrees")
	}
	for _, name := range needed {
		if values[name] == "" {
			return d, &SettingError{Name: name, Expected: LookupSetting(name).Expected, Missing: true}
		}
	}
	if d.ElementsRefuse < d.ElementsWarn {
		return d, &SettingError{Name: "elements_refuse_days", Value: daysText(d.ElementsRefuse), Expected: "no less than elements_warn_days, " + daysText(d.ElementsWarn)}
	}
	return d, nil
}

func daysText(d time.Duration) string { return strconv.FormatFloat(d.Hours()/24, 'g', 6, 64) }

// Reverse returns the budget as seen from the other end.
func (b Budget) Reverse() Budget {
	b.SendBitsPerSecond, b.ReceiveBitsPerSecond = b.ReceiveBitsPerSecond, b.SendBitsPerSecond
	return b
}

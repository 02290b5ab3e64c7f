package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/inventory/kit"
	"pulk/schema/fault"
)

// termsFlags say what the planner knows beside the store.
func termsFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringSliceFlag{Name: "late", Usage: "the delivery may come so much later, as `DAYS=PROBABILITY`; may be repeated, the rest comes on the day"},
		&cli.StringFlag{Name: "terms", Usage: "what is asked of single items: a CSV `FILE` of classes, units needed, packs, bounds, repair; columns: docs/kit-terms.md"},
		&cli.StringFlag{Name: "kept-at", Usage: "how cold and how warm it gets where things are kept, as `LOW..HIGH` in degrees Celsius"},
		&cli.StringSliceFlag{Name: "like", Usage: "`PART=OTHER` or PART=OTHER:WEIGHT: before its own record PART fails as OTHER does, as if WEIGHT failures had been seen (else --prior-weight); may be repeated"},
		&cli.StringSliceFlag{Name: "stress", Usage: "an hour of service at or in a place counts so many, as `LOCATION=FACTOR`; may be repeated, elsewhere it counts one"},
		&cli.StringSliceFlag{Name: "wear", Usage: "`PART` wears out: its lives follow a Weibull distribution, fitted to the record; may be repeated"},
	}
}

// kitDelays reads --late.
func (c *call) kitDelays() ([]kit.Delay, error) {
	var list []kit.Delay
	for _, text := range c.StringSlice("late") {
		days, probability, _ := strings.Cut(text, "=")
		d, err := strconv.ParseFloat(strings.TrimSuffix(days, "d"), 64)
		p, err2 := strconv.ParseFloat(probability, 64)
		if err != nil || err2 != nil || !(d > 0 && d <= 3660) || !(p > 0 && p <= 1) {
			return nil, fault.Misuse("like --late 14=0.25: two weeks late with a probability of 0.25", "--late %q", text)
		}
		list = append(list, kit.Delay{Days: d, Probability: p})
	}
	return list, nil
}

// kitKept reads --kept-at.
func (c *call) kitKept() (kit.Range, error) {
	text := c.String("kept-at")
	if text == "" {
		return kit.Range{}, nil
	}
	low, high, _ := strings.Cut(text, "..")
	a, err := strconv.ParseFloat(low, 64)
	b, err2 := strconv.ParseFloat(high, 64)
	if err != nil || err2 != nil || !(a >= -273.15 && a <= b && b <= 1000) {
		return kit.Range{}, fault.Misuse("like --kept-at -55..12", "--kept-at %q", text)
	}
	return kit.Range{Low: &a, High: &b}, nil
}

// kitStress reads --stress.
func (c *call) kitStress() (map[string]float64, error) {
	of := map[string]float64{}
	for _, text := range c.StringSlice("stress") {
		code, factor, _ := strings.Cut(text, "=")
		x, err := strconv.ParseFloat(factor, 64)
		if _, twice := of[code]; twice || err != nil || code == "" || !(x >= 0.001 && x <= 1000) {
			return nil, fault.Misuse("like --stress hole-6=2.5, each place once, from 0.001 to 1000", "--stress %q", text)
		}
		of[code] = x
	}
	return of, nil
}

// withTerms gives each part what the planner's table says of it.
func (c *call) withTerms(parts []kit.Part) error {
	at := map[string]*kit.Part{}
	for i := range parts {
		at[parts[i].PartNumber] = &parts[i]
	}
	if err := c.withLikeness(at); err != nil {
		return err
	}
	for _, number := range c.StringSlice("wear") {
		if at[number] == nil || at[number].Installed == 0 {
			return fault.Misuse("see: pulk kit plan --all", "--wear: %q is not in service", number)
		}
		at[number].Wears = true
	}
	if c.String("terms") == "" {
		return nil
	}
	rows, err := readTable(c, "terms", "docs/kit-terms.md", kit.ParseTerms)
	if err != nil {
		return err
	}
	for _, row := range rows {
		part := at[row.PartNumber]
		if part == nil {
			return fault.Hint("see: pulk item list", "%s: the catalogue has no part %q", c.String("terms"), row.PartNumber)
		}
		part.Terms = row.Terms
	}
	return nil
}

// termsFault tells what is asked of an item that cannot be as wrong use.
func termsFault(err error) error {
	var wrong *kit.TermsError
	if errors.As(err, &wrong) {
		return fault.Misuse("see --terms, --least, --most, --wear and --like", "%s", err)
	}
	return err
}

// withLikeness gives parts the rates of others, by --like.
func (c *call) withLikeness(parts map[string]*kit.Part) error {
	var given []func()
	for _, text := range c.StringSlice("like") {
		number, other, ok := strings.Cut(text, "=")
		weight := c.Float64("prior-weight")
		if at := strings.LastIndexByte(other, ':'); at >= 0 {
			x, err := strconv.ParseFloat(other[at+1:], 64)
			if ok = ok && err == nil && x > 0 && x <= 1000; ok {
				weight, other = x, other[:at]
			}
		}
		if !ok || number == other {
			return fault.Misuse("like --like WIN-004=WIN-003:0.5", "--like %q", text)
		}
		for _, one := range []string{number, other} {
			if parts[one] == nil {
				return fault.Hint("see: pulk item list", "--like: the catalogue has no part %q", one)
			}
		}
		prior, err := parts[other].LikenessTo(weight, c.Float64("prior-weight"))
		if err != nil {
			return termsFault(err)
		}
		given = append(given, func() { parts[number].Prior = prior })
	}
	for _, give := range given { // all by what was known before
		give()
	}
	return nil
}

// deliveryJSON is a day on which the delivery may come.
type deliveryJSON struct {
	Date        string  `json:"date"` // YYYY-MM-DD
	Hours       float64 `json:"hours_without_delivery"`
	Probability float64 `json:"probability"`
}

func deliveriesOf(p *kit.Plan) []deliveryJSON {
	list := []deliveryJSON{}
	for _, d := range p.Dates {
		list = append(list, deliveryJSON{p.From.Add(time.Duration(d.Hours * float64(time.Hour))).Format(time.DateOnly), d.Hours, d.Probability})
	}
	return list
}

// deliveryText says when the delivery may come; empty where that is one day.
func deliveryText(p *kit.Plan) string {
	list := deliveriesOf(p)
	if len(list) == 1 && len(p.Delays) == 0 {
		return ""
	}
	var days []string
	for _, d := range list {
		days = append(days, fmt.Sprintf("%s with probability %.3g", d.Date, d.Probability))
	}
	return fmt.Sprintf("The delivery comes on %s.", strings.Join(days, ", "))
}

// termsText says what the planner asks of a spare, in sentences.
func termsText(p *kit.Plan, l *kit.Line) []string {
	var out []string
	t := l.Terms
	if l.Stress > 0 && l.Stress != 1 && l.Basis == kit.Spare {
		out = append(out, fmt.Sprintf("By the stress of their places an hour of those in service counts %.3g in the mean; hours seen are counted so as well.", l.Stress))
	}
	if text := deliveryText(p); text != "" && l.Basis == kit.Spare {
		out = append(out, text+" Odds are those over all these days.")
	}
	if t.Class != kit.Essential {
		out = append(out, fmt.Sprintf("It is %s.", t.Class))
	}
	if t.Needed > 0 && t.Needed < l.Installed {
		out = append(out, fmt.Sprintf("%d of the %d in service must work. Where no spare is left, %d of them may stay dead.", t.Needed, l.Installed, l.Installed-t.Needed))
	}
	if t.RepairPercent > 0 {
		out = append(out, fmt.Sprintf("Of a hundred failed units %d are repaired on site, after %d h in the mean; the others are lost.", t.RepairPercent, t.RepairHours))
	}
	if t.Pack > 1 {
		out = append(out, fmt.Sprintf("It goes in packs of %d.", t.Pack))
	}
	if t.Least > 0 {
		out = append(out, fmt.Sprintf("At least %d are asked for.", t.Least))
	}
	if t.Most > 0 {
		out = append(out, fmt.Sprintf("At most %d are to be sent.", t.Most))
	}
	return out
}

// wearText says what was fitted to a part that wears out.
func wearText(p *kit.Plan, l *kit.Line) string {
	if l.Wear == nil {
		return ""
	}
	text := fmt.Sprintf("%s %s wears out: Weibull lives of shape %.2f (%g %%: %.2f to %.2f) and scale %.0f h, %.0f h in the mean, by %d failures.",
		l.PartNumber, l.Name, l.Wear.Shape, 100*p.IntervalProbability, l.Wear.ShapeLow, l.Wear.ShapeHigh, l.Wear.ScaleHours, l.Wear.MeanHours(), l.Wear.Failures)
	if !l.Wear.WearsOut() {
		text += " A constant rate (shape 1) would go with the record too."
	}
	return text
}

// wearAssumed says what is assumed of wear-out.
func wearAssumed(p *kit.Plan) string {
	for _, l := range p.Lines {
		if l.Wear != nil {
			return "wear-out only where --wear says so, every replacement being new"
		}
	}
	return "no wear-out"
}

// stressText says what is assumed of the stress of places.
func stressText(p *kit.Plan) string {
	for _, l := range p.Lines {
		if l.Basis == kit.Spare && l.Stress > 0 && l.Stress != 1 {
			return ", more or less often by the stress of a place as --stress says"
		}
	}
	return ""
}

// roundedText says why another number is sent than the one that reaches the target.
func (c *call) roundedText(l *kit.Line) string {
	switch {
	case l.Send == max(0, l.Sufficient-l.Good):
		return ""
	case l.Counts() && c.capsUsed():
		return fmt.Sprintf("; %d are sent", l.Send)
	}
	return fmt.Sprintf("; %d are sent, as is asked of this item", l.Send)
}

// installedText is how many are in service, and how many of them must work where that is
// not all.
func installedText(l *kit.Line) string {
	if l.Terms.Needed > 0 && l.Terms.Needed < l.Installed {
		return fmt.Sprintf("%d of %d", l.Terms.Needed, l.Installed)
	}
	return strconv.FormatInt(l.Installed, 10)
}

// classText names the spares of another class than most; empty where there are none.
func classText(p *kit.Plan) string {
	of := map[kit.Class][]string{}
	for _, l := range p.Lines {
		if l.Basis == kit.Spare {
			of[l.Terms.Class] = append(of[l.Terms.Class], l.PartNumber)
		}
	}
	var parts []string
	if list := of[kit.Vital]; len(list) > 0 {
		parts = append(parts, "Vital: "+strings.Join(list, ", ")+".")
	}
	if list := of[kit.Desirable]; len(list) > 0 {
		parts = append(parts, "Desirable, may run out: "+strings.Join(list, ", ")+".")
	}
	return strings.Join(parts, " ")
}

// sendText is what is sent: pieces, or packs and how many are in one.
func sendText(l *kit.Line) string {
	if l.Terms.Pack > 1 && l.Send > 0 {
		return fmt.Sprintf("%d×%d", l.Send/l.Terms.Pack, l.Terms.Pack)
	}
	return strconv.FormatInt(l.Send, 10)
}

// repairText says what is assumed of repair on site.
func repairText(p *kit.Plan) string {
	for _, l := range p.Lines {
		if l.Basis == kit.Spare && l.Terms.RepairPercent > 0 {
			return "are repaired on site only where the terms say so, after a time that is exponentially distributed"
		}
	}
	return "are not repaired on site"
}

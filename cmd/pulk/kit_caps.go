package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/inventory/kit"
	"pulk/schema/fault"
)

// capFlags are what the commands that choose under caps have in common.
func capFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "mass", Usage: "the most `MASS` that all that is sent may have, as 1800kg, 650g or 1.8t"},
		&cli.StringFlag{Name: "volume", Usage: "the most `VOLUME` of its pieces, as 9m3 or 900L, unpacked"},
		&cli.StringFlag{Name: "money", Usage: "the most `MONEY` for it, as 25000, in the currency of the catalogue"},
		&cli.StringSliceFlag{Name: "least", Usage: "`PART=N`: send at least so many; may be repeated"},
		&cli.StringSliceFlag{Name: "most", Usage: "`PART=N`: send at most so many; may be repeated"},
		&cli.StringSliceFlag{Name: "minor", Usage: "`PART` may run out: no spare of it is sent, a consumable as planned, and it is left out of the odds; may be repeated"},
		&cli.Float64Flag{Name: "vital-odds", Usage: "nothing vital of --terms shall run out with this `PROBABILITY` at least; the rest goes by the odds of all"},
	}
}

// oddsFlag asks for the least mass in place of the best odds.
func oddsFlag() cli.Flag {
	return &cli.Float64Flag{Name: "odds", Usage: "the least mass with which nothing runs out with this `PROBABILITY`, instead of the best odds under --mass"}
}

// simulateFlags ask for played winters.
func simulateFlags() []cli.Flag {
	return []cli.Flag{
		&cli.IntFlag{Name: "simulate", Usage: "with caps: also play so many `WINTERS`, as a check on the odds"},
		&cli.Uint64Flag{Name: "seed", Value: 1, Usage: "`NUMBER` that the played winters follow from"},
	}
}

// maxWinters bounds how long a play takes.
const maxWinters = 10_000_000

func (c *call) kitCaps() (kit.Caps, error) {
	caps := kit.NoCaps()
	for _, cap := range []struct {
		resource kit.Resource
		like     string
		units    map[string]float64
	}{
		{kit.Mass, "1800kg", map[string]float64{"g": 1, "kg": 1000, "t": 1_000_000}},
		{kit.Volume, "9m3", map[string]float64{"l": 1, "m3": 1000, "m³": 1000}},
		{kit.Money, "25000", map[string]float64{"": 100}},
	} {
		text := c.String(cap.resource.String())
		if text == "" {
			continue
		}
		most, ok := amount(text, cap.units)
		if !ok {
			return caps, fault.Misuse("like "+cap.like, "--%s %q", cap.resource, text)
		}
		caps[cap.resource] = most
	}
	return caps, nil
}

// amount reads a number that is not negative and one of the units.
func amount(text string, units map[string]float64) (float64, bool) {
	at := strings.IndexFunc(text, func(r rune) bool { return (r < '0' || r > '9') && r != '.' })
	if at < 0 {
		at = len(text)
	}
	n, err := strconv.ParseFloat(text[:at], 64)
	unit, ok := units[strings.ToLower(strings.TrimSpace(text[at:]))]
	return n * unit, err == nil && ok && !math.IsInf(n*unit, 0)
}

// kitWish reads what is asked of single parts, which must be in the plan.
func (c *call) kitWish(plan *kit.Plan) (kit.Wish, error) {
	wish := kit.Wish{Least: map[string]int64{}, Most: map[string]int64{}, Minor: map[string]bool{}}
	chosen := map[string]bool{}
	for _, l := range plan.Lines {
		chosen[l.PartNumber] = chosen[l.PartNumber] || l.Basis != kit.NoRate
	}
	known := func(flag, part string) error {
		if chosen[part] {
			return nil
		}
		return fault.Misuse("see all of them: pulk kit plan --all", "--%s: %q is no spare or consumable of this plan", flag, part)
	}
	for flag, of := range map[string]map[string]int64{"least": wish.Least, "most": wish.Most} {
		for _, text := range c.StringSlice(flag) {
			part, count, _ := strings.Cut(text, "=")
			n, err := strconv.ParseInt(count, 10, 32)
			if err != nil || n < 0 {
				return wish, fault.Misuse("like WIN-003=2", "--%s %q", flag, text)
			}
			if err := known(flag, part); err != nil {
				return wish, err
			}
			of[part] = n
		}
	}
	for part, least := range wish.Least {
		if most, ok := wish.Most[part]; ok && least > most {
			return wish, fault.Misuse("see --least and --most", "%s: at least %d and at most %d cannot both be", part, least, most)
		}
	}
	for _, part := range c.StringSlice("minor") {
		if err := known("minor", part); err != nil {
			return wish, err
		}
		if wish.Least[part] > 0 {
			return wish, fault.Misuse("see --least and --minor", "%s: at least %d are asked for, and that it is left out", part, wish.Least[part])
		}
		wish.Minor[part] = true
	}
	if wish.VitalOdds = c.Float64("vital-odds"); c.IsSet("vital-odds") && !(wish.VitalOdds > 0 && wish.VitalOdds < 1) {
		return wish, fault.Misuse("like 0.99", "--vital-odds %v is no probability between 0 and 1", wish.VitalOdds)
	}
	return wish, nil
}

// capsUsed reports whether any flag asks for a choice under caps.
func (c *call) capsUsed() bool {
	for _, flag := range append(capFlags(), oddsFlag(), simulateFlags()[0]) {
		if c.IsSet(flag.Names()[0]) {
			return true
		}
	}
	return false
}

// kitFit chooses under the caps of the command line.
func (c *call) kitFit(plan *kit.Plan) (*kit.Capped, kit.Wish, error) {
	caps, err := c.kitCaps()
	if err != nil {
		return nil, kit.Wish{}, err
	}
	wish, err := c.kitWish(plan)
	if err != nil {
		return nil, wish, err
	}
	if !c.IsSet("odds") {
		capped, err := plan.Fit(c.Context.Context, caps, wish, kit.Settings{})
		return capped, wish, overCap(err)
	}
	odds := c.Float64("odds")
	if !(odds > 0 && odds < 1) {
		return nil, wish, fault.Misuse("like 0.95", "--odds %v is no probability between 0 and 1", odds)
	}
	capped, err := plan.Lightest(c.Context.Context, caps, wish, odds, kit.Settings{})
	return capped, wish, overCap(err)
}

// overCap says what to do about caps that cannot be kept to.
func overCap(err error) error {
	if kit.IsOver(err) {
		return fault.Refuse("raise the cap, or ask for less: fewer runs, smaller --least, lower --odds or --vital-odds", "%s", err)
	}
	return termsFault(err)
}

// play plays winters if that was asked for.
func (c *call) play(capped *kit.Capped, wish kit.Wish) (*kit.Winters, error) {
	n := c.Int("simulate")
	if n < 0 || n > maxWinters {
		return nil, fault.Misuse("like 100000", "--simulate %d: from 1 to %d winters", n, maxWinters)
	}
	if n == 0 {
		return nil, nil
	}
	played, err := capped.Plan.Simulate(c.Context.Context, n, c.Uint64("seed"), wish)
	return &played, err
}

// chosenJSON is what a choice under caps adds to the JSON of a plan.
type chosenJSON struct {
	MassCapGrams    *float64     `json:"mass_cap_grams"` // null where there is no cap
	VolumeCapLitres *float64     `json:"volume_cap_litres"`
	MoneyCapCents   *float64     `json:"money_cap_cents"`
	MassGrams       float64      `json:"mass_grams"` // of all that is sent
	VolumeLitres    float64      `json:"volume_litres"`
	MoneyCents      float64      `json:"money_cents"`
	OddsNow         float64      `json:"odds_now"`         // that nothing runs out that is in the odds, with nothing sent
	OddsSent        float64      `json:"odds_sent"`        // the same, as chosen
	OddsVital       float64      `json:"odds_vital"`       // that nothing vital runs out, as chosen
	OddsByDate      []float64    `json:"odds_by_date"`     // as chosen, in the order of deliveries
	OddsBound       *float64     `json:"odds_bound"`       // what no choice under these caps exceeds; null with --odds
	MassBoundGrams  *float64     `json:"mass_bound_grams"` // what no choice with such odds goes below; null without --odds
	Proven          bool         `json:"proven"`
	Minor           int          `json:"items_left_out"`       // of the odds, as desirable at most
	Unscattered     int          `json:"consumables_left_out"` // of the odds: too few runs tell how their use scatters
	NotPriced       []string     `json:"parts_of_unknown_use"` // no more is sent than must be: what they use of a capped resource is not known
	Simulated       *wintersJSON `json:"simulated"`            // null unless asked for
}

// wintersJSON is what played winters say.
type wintersJSON struct {
	Winters int     `json:"winters"`
	Odds    float64 `json:"odds"`
	Error   float64 `json:"standard_error"`
}

func chosenOf(k *kit.Capped, played *kit.Winters) *chosenJSON {
	cap := func(r kit.Resource) *float64 {
		if math.IsInf(k.Caps[r], 1) {
			return nil
		}
		return &k.Caps[r]
	}
	out := &chosenJSON{MassCapGrams: cap(kit.Mass), VolumeCapLitres: cap(kit.Volume), MoneyCapCents: cap(kit.Money),
		MassGrams: k.Use[kit.Mass], VolumeLitres: k.Use[kit.Volume], MoneyCents: k.Use[kit.Money],
		OddsNow: k.Before, OddsSent: k.Odds, OddsVital: k.Vital, OddsByDate: k.ByDate, Proven: k.Proven, Minor: k.Minor, Unscattered: k.Unscattered, NotPriced: append([]string{}, k.Unpriced...)}
	if k.BoundGrams > 0 {
		out.MassBoundGrams = &k.BoundGrams
	} else {
		out.OddsBound = &k.Bound
	}
	if played != nil {
		out.Simulated = &wintersJSON{played.Played, played.Odds, played.Error}
	}
	return out
}

// riskText names what is the likeliest to run out all the same.
func riskText(p *kit.Plan) string {
	const most, least = 5, 0.0005
	var parts []string
	for _, l := range p.Risks() {
		if l.Risk() < least || len(parts) == most {
			break
		}
		parts = append(parts, fmt.Sprintf("%s %.1f %%", l.PartNumber, 100*l.Risk()))
	}
	if len(parts) == 0 {
		return ""
	}
	return "Most at risk of running out all the same: " + strings.Join(parts, ", ") + "."
}

// printChosen says what the odds of all together are, and how good the choice is.
func (c *call) printChosen(k *kit.Capped, played *kit.Winters) {
	text := fmt.Sprintf("Odds that nothing runs out: %.4f now, %.4f with what is sent", k.Before, k.Odds)
	switch {
	case k.BoundGrams > 0 && k.Proven:
		text += "; no lighter choice has as good odds (proven)."
	case k.BoundGrams > 0:
		text += fmt.Sprintf("; the lightest found, and none that has as good odds is below %s.", kit.Mass.In(k.BoundGrams))
	case k.Proven:
		text += "; no other choice under these caps is better (proven)."
	default:
		text += fmt.Sprintf("; the best found, and none under these caps exceeds %.4f.", k.Bound)
	}
	if played != nil {
		text += fmt.Sprintf(" %d played winters: %.4f ± %.4f.", played.Played, played.Odds, played.Error)
	}
	if k.Minor > 0 {
		text += " " + plural(k.Minor, "item is", "items are") + " left out of the odds, as asked."
	}
	if k.Unscattered > 0 {
		text += " " + plural(k.Unscattered, "consumable is", "consumables are") + " left out of them, as too few runs tell how far use scatters; --reserve counts by an assumed spread."
	}
	if k.Vital != 1 && k.Vital != k.Odds {
		text += fmt.Sprintf(" Nothing vital runs out: %.4f.", k.Vital)
	}
	if len(k.ByDate) > 1 {
		text += " By the day of the delivery:"
		for i, d := range k.Plan.Dates {
			text += fmt.Sprintf(" %.4f if it comes %s;", k.ByDate[i], k.Plan.From.Add(time.Duration(d.Hours*float64(time.Hour))).Format(time.DateOnly))
		}
		text = strings.TrimSuffix(text, ";") + "."
	}
	c.printBlock("", text)
	if text := riskText(k.Plan); text != "" {
		c.printBlock("", text)
	}
	if len(k.Unpriced) > 0 {
		c.printBlock("! ", fmt.Sprintf("no more sent than must be, as the catalogue does not say what they use of a capped resource: %s", strings.Join(k.Unpriced, ", ")))
	}
	for r, most := range k.Caps {
		if !math.IsInf(most, 1) {
			c.printf("%s: %s of %s, consumables %s of it\n", kit.Resource(r), kit.Resource(r).In(k.Use[r]), kit.Resource(r).In(most), kit.Resource(r).In(k.Used[r]))
		}
	}
	c.printf("\n")
}

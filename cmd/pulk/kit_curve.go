package main

import (
	"fmt"
	"html"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/inventory/kit"
	"pulk/schema/fault"
	"pulk/sync/carrier"
)

// curvePoint is a point of pulk kit curve --json.
type curvePoint struct {
	CapGrams  float64 `json:"mass_cap_grams"`
	MassGrams float64 `json:"mass_grams"` // of what is sent
	Pieces    int64   `json:"spares_sent"`
	Odds      float64 `json:"odds"`
	Bound     float64 `json:"odds_bound"`
	Proven    bool    `json:"proven"`
}

func curveFlags() []cli.Flag {
	return []cli.Flag{
		&cli.IntFlag{Name: "points", Value: 12, Usage: "how many masses to try, `N`"},
		&cli.StringFlag{Name: "svg", Usage: "also draw it, as a picture in `FILE`"},
	}
}

// curveEnd is the odds at which a curve ends, where they can be reached.
const curveEnd = 0.999

// kitCurve gives the odds against the mass that is sent, from nothing to where one
// more kilogram hardly matters, or to --mass.
func (c *call) kitCurve() error {
	points := c.Int("points")
	if points < 2 || points > 200 {
		return fault.Misuse("like 12", "--points %d: from 2 to 200", points)
	}
	plan, err := c.madePlan()
	if err != nil {
		return err
	}
	caps, err := c.kitCaps()
	if err != nil {
		return err
	}
	wish, err := c.kitWish(plan)
	if err != nil {
		return err
	}
	whole, err := plan.Fit(c.Context.Context, caps, wish, kit.Settings{})
	if err != nil {
		return overCap(err)
	}
	low, high := whole.Floor[kit.Mass], whole.Use[kit.Mass]
	if !c.IsSet("mass") {
		if light, err := plan.Lightest(c.Context.Context, caps, wish, curveEnd, kit.Settings{}); err == nil {
			high = light.Use[kit.Mass]
		}
	}
	var row []float64
	for i := range points {
		row = append(row, math.Ceil(low+(high-low)*float64(i)/float64(points-1)))
	}
	row = slices.Compact(row)
	curve, err := plan.Curve(c.Context.Context, caps, wish, kit.Mass, row, kit.Settings{})
	if err != nil {
		return overCap(err)
	}
	list := []curvePoint{}
	for _, k := range curve {
		point := curvePoint{CapGrams: k.Caps[kit.Mass], MassGrams: k.Use[kit.Mass], Odds: k.Odds, Bound: k.Bound, Proven: k.Proven}
		for _, l := range k.Plan.Lines {
			if l.Basis == kit.Spare {
				point.Pieces += l.Send
			}
		}
		list = append(list, point)
	}
	if path := c.String("svg"); path != "" {
		if err := carrier.WriteFile(path, []byte(curveSVG(plan, list))); err != nil {
			return err
		}
		fmt.Fprintf(c.env.stderr, "pulk: wrote %s\n", path)
	}
	if c.asJSON() {
		return c.printJSON(list)
	}
	c.printCurve(plan, list, low, len(whole.Unpriced))
	return nil
}

func (c *call) printCurve(p *kit.Plan, list []curvePoint, low float64, unknown int) {
	c.printf("Odds that nothing runs out from %s to %s, against the mass that is sent\n\n", p.From.Format(time.DateOnly), p.Until.Format(time.DateOnly))
	t := newTable("cap kg", "sent kg", "spares", "odds", "", "proven")
	for _, point := range list {
		proven := "yes"
		if !point.Proven {
			proven = fmt.Sprintf("at most %.4f", point.Bound)
		}
		t.add(fmt.Sprintf("%.1f", point.CapGrams/1000), fmt.Sprintf("%.1f", point.MassGrams/1000), point.Pieces, fmt.Sprintf("%.4f", point.Odds),
			strings.Repeat("▒", int(math.Round(30*point.Odds))), proven)
	}
	t.print(c.env, "Nothing can be sent.")
	c.printf("\n")
	text := fmt.Sprintf("%.1f kg of it go in any case: consumables as planned, and the least of each item. Each line is the best choice under its cap.", low/1000)
	if unknown > 0 {
		text += " " + "Of " + plural(unknown, "item", "items") + " no more is sent, as the catalogue does not say what they use of a capped resource."
	}
	c.printBlock("", text)
}

// curveSVG draws the curve as a picture that stands alone.
func curveSVG(p *kit.Plan, list []curvePoint) string {
	const left, top, width, height = 70.0, 70.0, 560.0, 300.0
	most := 1.0
	for _, point := range list {
		most = max(most, point.CapGrams)
	}
	at := func(point curvePoint) (float64, float64) {
		return left + width*point.CapGrams/most, top + height*(1-point.Odds)
	}
	var body strings.Builder
	for i := range 6 {
		share := float64(i) / 5
		y, x := top+height*(1-share), left+width*share
		fmt.Fprintf(&body, "<path class=\"g\" d=\"M%g %gH%g\"/><text class=\"r\" x=\"%g\" y=\"%g\">%.1f</text>", left, y, left+width, left-8, y+4, share)
		fmt.Fprintf(&body, "<path class=\"g\" d=\"M%g %gV%g\"/><text class=\"m\" x=\"%g\" y=\"%g\">%.0f</text>\n", x, top, top+height, x, top+height+18, most*share/1000)
	}
	var path strings.Builder
	for i, point := range list {
		x, y := at(point)
		fmt.Fprintf(&path, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], x, y)
		fmt.Fprintf(&body, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"3.5\"/>", x, y)
	}
	title := fmt.Sprintf("Odds that nothing runs out, %s to %s", p.From.Format(time.DateOnly), p.Until.Format(time.DateOnly))
	return fmt.Sprintf("<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 680 430\" width=\"680\" height=\"430\" role=\"img\" aria-label=\"%s\">\n"+
		"<style>text{font:13px sans-serif;fill:#16202b}.t{font-size:17px;font-weight:bold}.r{text-anchor:end}.m{text-anchor:middle}.g{stroke:#c9d1d8}.c{fill:none;stroke:#16202b;stroke-width:2}</style>\n"+
		"<rect width=\"100%%\" height=\"100%%\" fill=\"#fff\"/>\n<text class=\"t\" x=\"20\" y=\"34\">%s</text>\n%s<path class=\"c\" d=\"%s\"/>\n<text class=\"m\" x=\"%g\" y=\"%g\">mass that may be sent, kg</text>\n</svg>\n",
		html.EscapeString(title), html.EscapeString(title), body.String(), path.String(), left+width/2, top+height+42)
}

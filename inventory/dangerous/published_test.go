package dangerous

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"pulk/testdata/checks/published"
)

// goodsOf reads how the check file names a class: "8 liquid", "2.3 zone A", "6.1 PG I zone A".
func goodsOf(text string) Goods {
	words := strings.Fields(text)
	g := Goods{Class: words[0]}
	for i, word := range words {
		switch word {
		case "liquid":
			g.State = Liquid
		case "PG":
			g.PackingGroup, g.State = words[i+1], Liquid
		case "zone":
			g.Zone = words[i+1]
		}
	}
	return g
}

// TestPublished: rows of testdata/checks/cargo_dangerous_goods.csv, whose sources stand
// beside each value. Of the UN entries most are from memory or secondary lists, as the
// file says.
func TestPublished(t *testing.T) {
	counts := map[string]int{}
	for _, row := range published.Read(t, "cargo_dangerous_goods.csv") {
		counts[row.Quantity]++
		switch row.Quantity {
		case "un_entry":
			want := map[string]string{}
			for _, part := range strings.Split(row.Expected, ";") {
				key, value, _ := strings.Cut(part, "=")
				want[key] = value
			}
			e, ok := entries[row.Text(t, "un_number")]
			got := fmt.Sprintf("class=%s;subsidiary=%s;packing_group=%s", e.class, orText(e.subsidiary, "none"), orText(e.packingGroups, "-"))
			if expected := fmt.Sprintf("class=%s;subsidiary=%s;packing_group=%s", want["class"], want["subsidiary"], want["packing_group"]); !ok || got != expected {
				t.Errorf("%s: UN %s: %s, want %s (%s)", row.ID, row.Text(t, "un_number"), got, expected, row.Source)
			}
			if first, _, _ := strings.Cut(want["name"], " "); !strings.Contains(e.name, strings.Trim(first, ",")) {
				t.Errorf("%s: UN %s is named %q, in the file %q", row.ID, row.Text(t, "un_number"), e.name, want["name"])
			}
		case "segregation_49cfr_177_848":
			want, _, _ := strings.Cut(row.Expected, " ")
			if want == "blank" {
				want = ""
			}
			for _, pair := range [][2]string{{"a", "b"}, {"b", "a"}} {
				got := Segregate(goodsOf(row.Text(t, pair[0])), goodsOf(row.Text(t, pair[1])))
				if string(got.Mark) != want {
					t.Errorf("%s: %s with %s: %q, want %q (%s)", row.ID, row.Text(t, pair[0]), row.Text(t, pair[1]), got.Mark, want, row.Source)
				}
				if above := strings.Contains(strings.Join(got.Why, " "), "not above or next to"); above != strings.Contains(row.Expected, "never above") && want != "X" {
					t.Errorf("%s: above or next to: %v, want %q", row.ID, got.Why, row.Expected)
				}
			}
		case "lithium_battery_alone_air_segregation":
			other := Goods{UNNumber: "0000", Class: row.Text(t, "other_class")}
			for _, un := range []string{"3480", "3090"} {
				battery := Goods{UNNumber: un, Class: "9"}
				want := row.Expected == "must be segregated"
				if AirSegregate(battery, other) != want || AirSegregate(other, battery) != want {
					t.Errorf("%s: UN %s with class %s: %v, want %v (%s)", row.ID, un, other.Class, !want, want, row.Source)
				}
			}
		case "lithium_air_passenger_aircraft", "lithium_ion_state_of_charge":
			un := row.Text(t, "un")
			notes := strings.Join(Goods{UNNumber: un}.AirNotes(), "; ")
			if forbidden := strings.Contains(notes, "passenger"); row.Quantity != "lithium_ion_state_of_charge" && forbidden != strings.HasPrefix(row.Expected, "forbidden") {
				t.Errorf("%s: UN %s: %q, want %s", row.ID, un, notes, row.Expected)
			}
			if row.Quantity == "lithium_ion_state_of_charge" && (!strings.Contains(row.Expected, fmt.Sprintf("%d %%", IonChargePercentMax)) || !strings.Contains(notes, "30 %")) {
				t.Errorf("%s: %q, want %s", row.ID, notes, row.Expected)
			}
		case "lithium_ion_section_II_limit", "lithium_metal_section_II_limit":
			limit := map[string]int{"lithium_ion_section_II_limit battery": SectionTwoIonBatteryWattHours, "lithium_ion_section_II_limit cell": SectionTwoIonCellWattHours,
				"lithium_metal_section_II_limit battery": SectionTwoMetalBatteryGramLithium, "lithium_metal_section_II_limit cell": SectionTwoMetalCellGramLithium}[row.Quantity+" "+row.Text(t, "unit")]
			if number, _, _ := strings.Cut(row.Expected, " "); number != strconv.Itoa(limit) {
				t.Errorf("%s: %d, want %s", row.ID, limit, row.Expected)
			}
		case "lithium_ion_watt_hours":
			want, err := strconv.ParseFloat(row.Expected, 64)
			if got := WattHoursOf(row.Number(t, "volts"), row.Number(t, "amp_hours")); err != nil || math.Abs(got-want) > 1e-6 {
				t.Errorf("%s: %g Wh, want %g", row.ID, got, want)
			}
		}
	}
	for quantity, least := range map[string]int{"un_entry": 30, "segregation_49cfr_177_848": 10, "lithium_battery_alone_air_segregation": 5, "lithium_ion_watt_hours": 3, "lithium_metal_section_II_limit": 2} {
		if counts[quantity] < least {
			t.Errorf("only %d rows of %s were read", counts[quantity], quantity)
		}
	}
}

func orText(text, empty string) string {
	if text == "" {
		return empty
	}
	return text
}

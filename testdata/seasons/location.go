package seasons

// location is a place that holds stock or units. An empty parent marks the
// site itself.
type location struct{ code, name, parent, site string }

var locations = []location{
	{"home", "Tarn Institute", "", "home"},
	{"home-store", "Main store", "home", "home"},
	{"home-bench", "Assembly and test bench", "home", "home"},
	{"home-quarantine", "Quarantine shelf", "home", "home"},
	{"home-crate-bay", "Crate bay", "home", "home"},
	{"ship", "MV Sella", "", "ship"},
	{"ship-hold-1", "Hold 1, dry and heated", "ship", "ship"},
	{"ship-hold-2", "Hold 2, unheated", "ship", "ship"},
	{"ship-dg-locker", "Dangerous goods locker on deck", "ship", "ship"},
	{"ship-lab", "Wet laboratory", "ship", "ship"},
	{"sc1-landing", "Landing of cable SC-1", "ship", "ship"},
	{"stn", "Vindur Plateau Camp", "", "stn"},
	{"stn-store", "Warm store", "stn", "stn"},
	{"stn-cold-store", "Cold store in the snow trench", "stn", "stn"},
	{"stn-lab", "Laboratory", "stn", "stn"},
	{"stn-workshop", "Workshop", "stn", "stn"},
	{"stn-quarantine", "Quarantine shelf in the warm store", "stn-store", "stn"},
	{"stn-fuel-depot", "Fuel depot", "stn", "stn"},
	{"stn-gas-rack", "Gas cylinder rack", "stn", "stn"},
	{"generator-hut", "Generator hut", "stn", "stn"},
	{"drill-hut", "Drill hut", "stn", "stn"},
	{"drill-hut-shelf", "Spares shelf in the drill hut", "drill-hut", "stn"},
	{"hole-1", "Hole 1", "stn", "stn"},
	{"hole-2", "Hole 2", "stn", "stn"},
	{"hole-3", "Hole 3", "stn", "stn"},
	{"hole-4", "Hole 4", "stn", "stn"},
	{"hole-5", "Hole 5", "stn", "stn"},
	{"hole-6", "Hole 6", "stn", "stn"},
}

func locationRows() [][]string {
	rows := [][]string{{"code", "name", "parent", "site"}}
	for _, l := range locations {
		rows = append(rows, []string{l.code, l.name, l.parent, l.site})
	}
	return rows
}

// shelfOf returns where an item lies at the end of its journey. Packaging
// stays at home; the cable to shore and what protects it wait at its landing.
func shelfOf(it item) string {
	if it.part == "CAB-001" {
		return "sc1-landing"
	}
	switch it.group {
	case "packaging":
		return "home-store"
	case "cable protection":
		return "sc1-landing"
	case "cable", "camp":
		return "stn-cold-store"
	case "fuel":
		return "stn-fuel-depot"
	case "gas":
		return "stn-gas-rack"
	case "power":
		return "generator-hut"
	case "tool", "fastener":
		return "stn-workshop"
	case "electronics", "communication":
		return "stn-lab"
	case "drill", "hot water and hydraulic", "winch", "string", "connector":
		return "drill-hut-shelf"
	}
	return "stn-store"
}

// holdOf returns where an item travels aboard.
func holdOf(it item) string {
	switch {
	case it.dangerous:
		return "ship-dg-locker"
	case it.group == "cable" || it.group == "camp" || it.group == "cable protection":
		return "ship-hold-2"
	}
	return "ship-hold-1"
}

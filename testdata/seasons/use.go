package seasons

// levels are the stocks that a price does not tell, in units of issue.
var levels = map[string]int{
	"CHM-033": 62000, // diesel for two generators, a little over a year
	"CHM-034": 5200,
	"CHM-035": 900,
	"CHM-036": 96000, // turbine fuel for the water heaters, one summer
	"CAB-002": 900,
	"CMP-015": 300,
	"CHM-014": 600,
	"HYD-001": 2800,
	"HYD-013": 160,
	"HYD-014": 120,
	"PKG-004": 20,
	"PKG-005": 20,
	"PKG-007": 80,
	"PKG-012": 60,
	"PKG-014": 300,
	"PKG-016": 120,
}

// keepsPastDate are fuels, which are tested and used past their date instead
// of being thrown away.
var keepsPastDate = map[string]bool{"CHM-033": true, "CHM-034": true, "CHM-035": true, "CHM-036": true}

// habit is something the station uses again and again: low to high units of
// issue, every everyDays to one and a half times that many days.
type habit struct {
	part      string
	everyDays int
	low, high int
	drilling  bool // only while the drill runs
}

var habits = []habit{
	{"CHM-033", 14, 1750, 2300, false},
	{"CHM-034", 14, 100, 210, false},
	{"CHM-035", 14, 15, 40, false},
	{"CHM-036", 3, 3800, 5600, true},
	{"CHM-021", 30, 18, 26, false},
	{"PWR-003", 30, 2, 2, false},
	{"PWR-004", 30, 2, 2, false},
	{"PWR-005", 60, 2, 2, false},
	{"PWR-006", 90, 1, 2, false},
	{"PWR-014", 90, 1, 3, false},
	{"HYD-013", 3, 2, 6, true},
	{"HYD-014", 4, 2, 4, true},
	{"HYD-006", 20, 1, 1, true},
	{"HYD-007", 30, 1, 1, true},
	{"HYD-022", 20, 1, 1, true},
	{"HYD-029", 10, 1, 2, true},
	{"DRL-001", 12, 1, 1, true},
	{"DRL-008", 8, 1, 2, true},
	{"DRL-009", 12, 1, 1, true},
	{"DRL-025", 18, 1, 1, true},
	{"WIN-008", 28, 1, 1, true},
	{"CHM-014", 15, 10, 40, true},
	{"CHM-019", 14, 1, 1, true},
	{"CHM-020", 14, 2, 6, true},
	{"CHM-024", 14, 1, 2, true},
	{"PPE-006", 14, 1, 3, false},
	{"PPE-007", 28, 1, 2, false},
	{"PPE-020", 14, 1, 1, false},
	{"PPE-023", 10, 1, 1, true},
	{"ELC-031", 21, 1, 1, false},
	{"FST-016", 21, 1, 1, false},
	{"FST-001", 40, 1, 1, false},
	{"FST-002", 40, 1, 1, false},
	{"CMP-015", 10, 5, 20, true},
	{"CMP-004", 30, 1, 1, false},
	{"CMP-007", 30, 1, 1, false},
	{"CHM-045", 30, 1, 1, false},
	{"MED-005", 45, 1, 1, false},
	{"MED-014", 30, 1, 2, false},
	{"TOL-017", 30, 1, 1, false},
	{"TOL-010", 90, 1, 1, false},
	{"CHM-012", 30, 1, 2, false},
	{"ELC-004", 30, 1, 4, false},
	{"CAB-011", 25, 2, 15, false},
}

// part is a quantity, in units of issue, that one run uses up.
type part struct {
	number   string
	quantity int
}

// consumables are what one run of a procedure uses up, as its parts list says
// but for the units with a serial, and where: empty = at the station.
var consumables = map[string]struct {
	place string
	parts []part
}{
	moduleAcceptance: {"home-store", []part{
		{"CON-011", 2}, {"CON-005", 1}, {"CHM-004", 5}, {"SM3-016", 1}, {"SM3-020", 1},
	}},
	boreholeLowering: {"", []part{
		{"STR-003", 3}, {"TOL-036", 2}, {"CHM-002", 1}, {"CHM-004", 40}, {"SM3-026", 8}, {"STR-002", 8},
		{"STR-007", 16}, {"CON-007", 8}, {"CON-011", 16}, {"FST-018", 32}, {"STR-009", 8},
		{"STR-019", 1}, {"STR-020", 2}, {"STR-004", 1},
	}},
	cableLanding: {"sc1-landing", []part{
		{"CAB-017", 1}, {"CAB-001", 1400}, {"CAB-014", 240}, {"CAB-015", 40}, {"CAB-016", 2}, {"FST-018", 120},
		{"CAB-010", 15}, {"PWR-026", 2}, {"CAB-020", 1}, {"CAB-021", 1}, {"CON-017", 1}, {"CAB-018", 2},
	}},
	powerUp: {"", []part{
		{"STR-017", 2}, {"ELC-004", 2}, {"CAB-004", 2}, {"CHM-002", 1}, {"PKG-020", 1},
	}},
}

// placeOfUse returns where runs of procedure take an item from: at the station
// its own shelf, or the warm store when that shelf is elsewhere.
func placeOfUse(procedure string, it item) string {
	if place := consumables[procedure].place; place != "" {
		return place
	}
	if shelf := shelfOf(it); siteOf(shelf) == "stn" {
		return shelf
	}
	return "stn-store"
}

// seasonNeed returns what one season's runs of procedure use of an item, with
// a fifth more to be safe; 0 when the procedure does not use it.
func seasonNeed(procedure, number string) int {
	for _, p := range consumables[procedure].parts {
		if p.number == number {
			return (p.quantity*runsPerSeason[procedure]*6 + 4) / 5
		}
	}
	return 0
}

// partsInTables lists every part number that the tables of this package name.
func partsInTables() []string {
	var parts []string
	for number := range levels {
		parts = append(parts, number)
	}
	for _, h := range habits {
		parts = append(parts, h.part)
	}
	for _, c := range consumables {
		for _, p := range c.parts {
			parts = append(parts, p.number)
		}
	}
	for _, k := range kinds {
		parts = append(parts, k.part)
	}
	return parts
}

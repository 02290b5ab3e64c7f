package seasons

// kind is one serialised item: how many pieces there are, since when, and how
// they really fail, which the catalogue's prior does not know.
type kind struct {
	part, prefix           string
	opening, first, second int // at the station before; brought in the first and second season
	mtbfHours              int // mean running hours to a failure; 0 = does not fail in this story
	causes                 []string
}

const modulesPerSeason = 30

var kinds = []kind{
	{"SM3-001", "SM3-01", 0, modulesPerSeason, modulesPerSeason, 130000, []string{"no answer after refreezing", "light detector supply off", "water in housing"}},
	{"STR-001", "STG-", 0, 3, 3, 0, nil},
	{"STR-010", "SH1-", 0, 3, 3, 0, nil},
	{"CAB-024", "SC1-", 0, 1, 1, 0, nil},
	{"ELC-034", "RCK-", 1, 0, 0, 0, nil},
	{"DRL-030", "DRP-", 1, 0, 0, 0, nil},
	{"WIN-019", "WCH-", 1, 0, 0, 0, nil},
	{"PWR-001", "GEN-", 2, 0, 0, 0, nil},
	{"STR-011", "HPB-", 0, 4, 4, 16800, []string{"converter burnt", "no output"}},
	{"STR-014", "HBB-", 0, 4, 4, 21000, []string{"cell pair low", "does not charge in the cold"}},
	{"ELC-019", "SFS-", 2, 1, 1, 12600, []string{"fan seized", "output trips under load"}},
	{"ELC-013", "NSW-", 2, 0, 0, 0, nil},
	{"COM-001", "SBT-", 2, 0, 0, 0, nil},
	{"ELC-011", "SRV-", 2, 0, 0, 0, nil},
	{"HYD-005", "HPP-", 4, 0, 1, 1800, []string{"plunger seal leaking", "crosshead bearing noisy", "valve seat eroded"}},
	{"HYD-009", "RWP-", 2, 1, 1, 1300, []string{"motor insulation low", "impeller jammed by ice"}},
	{"HYD-010", "GCP-", 3, 0, 0, 5600, []string{"mechanical seal leaking"}},
	{"HYD-021", "SWJ-", 3, 0, 1, 1400, []string{"seal leaking", "bearing stiff"}},
	{"DRL-003", "DHD-", 2, 0, 0, 7000, []string{"telemetry lost"}},
	{"DRL-007", "BRN-", 3, 0, 1, 2000, []string{"does not ignite", "flame unstable and sooty"}},
	{"DRL-012", "BFP-", 4, 0, 1, 2100, []string{"pressure low", "coupling sheared"}},
	{"DRL-011", "FLS-", 4, 0, 2, 2100, []string{"no flame signal", "window cracked"}},
	{"ELC-021", "DCB-", 2, 0, 0, 0, nil},
	{"ELC-026", "FLM-", 2, 0, 1, 1400, []string{"rotor stuck", "pulse pick-up dead"}},
	{"WIN-001", "WGB-", 2, 0, 1, 4900, []string{"metal in the oil"}},
	{"WIN-002", "WDM-", 2, 0, 0, 0, nil},
	{"WIN-007", "SLR-", 2, 0, 1, 1700, []string{"fibre channel loss high", "brush ring scored"}},
	{"WIN-004", "WBR-", 2, 0, 0, 0, nil},
	{"WIN-003", "WFC-", 2, 0, 0, 0, nil},
	{"TOL-042", "DCW-", 3, 0, 0, 1300, []string{"wheel slips on ice", "encoder counts lost"}},
	{"PWR-009", "GST-", 4, 0, 1, 7000, []string{"solenoid stuck", "pinion worn"}},
	{"PWR-010", "GVR-", 4, 0, 1, 8400, []string{"voltage hunting"}},
	{"PWR-011", "GWP-", 4, 0, 1, 7000, []string{"bearing noisy", "leaking"}},
	{"PWR-008", "INJ-", 9, 1, 2, 12600, []string{"spray pattern bad", "needle stuck"}},
}

// post is a slot in an assembly where a unit of part serves. Seasonal posts
// are manned only while the drill runs and cleared afterwards.
type post struct {
	assembly, slot, part, place string
	hoursPerDay                 int // while the drill runs
	hoursPerDayOutside          int // in the rest of the year; 0 = seasonal
}

func (p post) seasonal() bool { return p.hoursPerDayOutside == 0 }

// posts are filled in this order. The slots of the strings are not here: the
// lowering runs fill them.
var posts = []post{
	{"SH1-01", "power", "STR-011", "drill-hut", 24, 24},
	{"SH1-01", "battery", "STR-014", "drill-hut", 24, 24},
	{"SH1-02", "power", "STR-011", "drill-hut", 24, 24},
	{"SH1-02", "battery", "STR-014", "drill-hut", 24, 24},
	{"SH1-03", "power", "STR-011", "drill-hut", 24, 24},
	{"SH1-03", "battery", "STR-014", "drill-hut", 24, 24},
	{"SH1-04", "power", "STR-011", "drill-hut", 24, 24},
	{"SH1-04", "battery", "STR-014", "drill-hut", 24, 24},
	{"SH1-05", "power", "STR-011", "drill-hut", 24, 24},
	{"SH1-05", "battery", "STR-014", "drill-hut", 24, 24},
	{"SH1-06", "power", "STR-011", "drill-hut", 24, 24},
	{"SH1-06", "battery", "STR-014", "drill-hut", 24, 24},
	{"RCK-01", "feed-a", "ELC-019", "stn-lab", 24, 24},
	{"RCK-01", "feed-b", "ELC-019", "stn-lab", 24, 24},
	{"RCK-01", "switch", "ELC-013", "stn-lab", 24, 24},
	{"RCK-01", "satellite", "COM-001", "stn-lab", 24, 24},
	{"RCK-01", "server", "ELC-011", "stn-lab", 24, 24},
	{"DRP-01", "pressure-pump-a", "HYD-005", "drill-hut", 17, 0},
	{"DRP-01", "pressure-pump-b", "HYD-005", "drill-hut", 17, 0},
	{"DRP-01", "return-pump", "HYD-009", "drill-hut", 17, 0},
	{"DRP-01", "glycol-pump", "HYD-010", "drill-hut", 24, 0},
	{"DRP-01", "swivel", "HYD-021", "drill-hut", 15, 0},
	{"DRP-01", "head", "DRL-003", "drill-hut", 15, 0},
	{"DRP-01", "burner-a", "DRL-007", "drill-hut", 17, 0},
	{"DRP-01", "burner-b", "DRL-007", "drill-hut", 17, 0},
	{"DRP-01", "fuel-pump-a", "DRL-012", "drill-hut", 17, 0},
	{"DRP-01", "fuel-pump-b", "DRL-012", "drill-hut", 17, 0},
	{"DRP-01", "flame-sensor-a", "DRL-011", "drill-hut", 17, 0},
	{"DRP-01", "flame-sensor-b", "DRL-011", "drill-hut", 17, 0},
	{"DRP-01", "controller", "ELC-021", "drill-hut", 24, 0},
	{"DRP-01", "flow-meter", "ELC-026", "drill-hut", 17, 0},
	{"WCH-01", "gearbox", "WIN-001", "drill-hut", 15, 0},
	{"WCH-01", "motor", "WIN-002", "drill-hut", 15, 0},
	{"WCH-01", "slip-ring", "WIN-007", "drill-hut", 15, 0},
	{"WCH-01", "brake", "WIN-004", "drill-hut", 15, 0},
	{"WCH-01", "converter", "WIN-003", "drill-hut", 15, 0},
	{"WCH-01", "depth-counter", "TOL-042", "drill-hut", 15, 0},
	{"GEN-01", "starter", "PWR-009", "generator-hut", 14, 12},
	{"GEN-01", "regulator", "PWR-010", "generator-hut", 14, 12},
	{"GEN-01", "water-pump", "PWR-011", "generator-hut", 14, 12},
	{"GEN-01", "injector-1", "PWR-008", "generator-hut", 14, 12},
	{"GEN-01", "injector-2", "PWR-008", "generator-hut", 14, 12},
	{"GEN-01", "injector-3", "PWR-008", "generator-hut", 14, 12},
	{"GEN-02", "starter", "PWR-009", "generator-hut", 14, 12},
	{"GEN-02", "regulator", "PWR-010", "generator-hut", 14, 12},
	{"GEN-02", "water-pump", "PWR-011", "generator-hut", 14, 12},
	{"GEN-02", "injector-1", "PWR-008", "generator-hut", 14, 12},
	{"GEN-02", "injector-2", "PWR-008", "generator-hut", 14, 12},
	{"GEN-02", "injector-3", "PWR-008", "generator-hut", 14, 12},
}

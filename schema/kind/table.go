package kind

// cols builds a column list from pairs of name and type.
func cols(pairs ...any) []Column {
	var columns []Column
	for i := 0; i < len(pairs); i += 2 {
		columns = append(columns, Column{pairs[i].(string), pairs[i+1].(Type)})
	}
	return columns
}

// Sites, persons, and the assignments that any domain uses.
var (
	SiteAdd = register(1, "site.add", cols("key", Bytes, "code", Text, "name", Text),
		Set{Field: FieldSiteName, Entity: Self, Key: NoKey, Value: 2})
	PersonAdd = register(2, "person.add", cols("code", Text, "name", Text),
		Set{Field: FieldPersonName, Entity: Self, Key: NoKey, Value: 1})
	PersonKey = register(3, "person.key", cols("person", Ref, "key", Bytes))

	// Assign* give a field a value. The value column of each has another type.
	AssignText = register(4, "assign.text", cols("entity", Ref, "field", Uint, "key", Text, "value", Text, "why", Text))
	AssignRef  = register(5, "assign.ref", cols("entity", Ref, "field", Uint, "key", Text, "value", Ref, "why", Text))
	AssignInt  = register(6, "assign.int", cols("entity", Ref, "field", Uint, "key", Text, "value", Int, "why", Text))

	// Void says that an earlier entry is not to be relied on, and why. The run is
	// the run that the voided entry belongs to, or none.
	Void = register(7, "void", cols("target", Ref, "run", Ref, "why", Text))
)

// Procedures and runs. A step is named by its place in the run's revision,
// from 0; where a step may be missing the column holds its place plus one.
var (
	// RevisionImport carries a procedure's source text: whole where base is none,
	// else as a delta against the text of base, each byte of it as the code point
	// with that number. The digest is the SHA-256 of the whole text.
	RevisionImport = register(8, "revision.import", cols("procedure", Text, "revision", Text, "title", Text,
		"base", Ref, "body", Text, "digest", Bytes))
	RevisionWithdraw = register(9, "revision.withdraw", cols("revision", Ref, "why", Text))

	RunStart = register(10, "run.start", cols("revision", Ref, "target", Ref, "location", Ref, "title", Text),
		Set{Field: FieldRunTitle, Entity: Self, Key: NoKey, Value: 3})
	RunEnd = register(11, "run.end", cols("run", Ref, "outcome", Uint, "why", Text))

	// StepCheck has answer 0 for done or yes, 1 for no.
	StepCheck = register(12, "step.check", cols("run", Ref, "step", Uint, "answer", Uint))
	// StepReading has outcome 0 for within limits, 1 for too low, 2 for too high,
	// as its reader was told; the state is judged anew from the revision.
	StepReading = register(13, "step.reading", cols("run", Ref, "step", Uint, "value", Decimal, "outcome", Uint, "instrument", Ref))
	StepRecord  = register(14, "step.record", cols("run", Ref, "step", Uint, "text", Text, "unit", Ref))
	// StepBegin starts the clock of a waiting step.
	StepBegin = register(15, "step.begin", cols("run", Ref, "step", Uint))
	// StepSign is a sign-off: verdict 0 for go, 1 for stop. Its context is its
	// evidence; the digest is that of the run's record as seen; the signature is
	// the person's own, by the key in column key.
	StepSign = register(16, "step.sign", cols("run", Ref, "step", Uint, "verdict", Uint, "role", Text,
		"digest", Bytes, "key", Ref, "signature", Bytes))
	RunNote = register(17, "run.note", cols("run", Ref, "step_plus_one", Uint, "text", Text))

	// NCRaise opens a nonconformance about a run, a unit or both; cause is the
	// reading or check that showed it, or none.
	NCRaise = register(18, "nc.raise", cols("run", Ref, "step_plus_one", Uint, "unit", Ref, "cause", Ref, "text", Text))
	// NCDispose has disposition 1 rework, 2 repair, 3 use as is, 4 scrap (ISO 9000).
	NCDispose = register(19, "nc.dispose", cols("nc", Ref, "run", Ref, "disposition", Uint, "why", Text))
)

// Items, places, stock.
var (
	ItemAdd = register(20, "item.add", cols("part_number", Text, "name", Text, "group", Text, "unit_of_issue", Text,
		"serialised", Uint, "mass_grams", Uint, "length_mm", Uint, "width_mm", Uint, "height_mm", Uint,
		"shelf_life_days", Uint, "un_number", Text, "price_cents", Uint, "prior_mtbf_hours", Uint),
		itemSets(FieldItemName, FieldItemGroup, FieldItemUnitOfIssue, FieldItemSerialised, FieldItemMassGrams,
			FieldItemLengthMM, FieldItemWidthMM, FieldItemHeightMM, FieldItemShelfLifeDays, FieldItemUNNumber,
			FieldItemPriceCents, FieldItemPriorMTBFHours)...)
	LocationAdd = register(21, "location.add", cols("code", Text, "name", Text, "parent", Ref),
		Set{Field: FieldLocationName, Entity: Self, Key: NoKey, Value: 1},
		Set{Field: FieldLocationParent, Entity: Self, Key: NoKey, Value: 2, SkipEmpty: true})

	// Quantities are whole numbers of the item's unit of issue, above 0. Column
	// held is what the person believed to be there before.
	StockReceive = register(22, "stock.receive", cols("item", Ref, "lot", Text, "to", Ref, "quantity", Uint, "expires", Text, "note", Text),
		Set{Field: FieldItemLotExpiry, Entity: 0, Key: 1, Value: 4, SkipEmpty: true})
	StockMove  = register(23, "stock.move", cols("item", Ref, "lot", Text, "from", Ref, "to", Ref, "quantity", Uint, "held", Int, "note", Text))
	StockIssue = register(24, "stock.issue", cols("item", Ref, "lot", Text, "from", Ref, "quantity", Uint, "held", Int,
		"run", Ref, "step_plus_one", Uint, "note", Text))
	// StockCount moves in or out what counted differs from held.
	StockCount = register(25, "stock.count", cols("item", Ref, "lot", Text, "at", Ref, "counted", Uint, "held", Int, "why", Text))
	StockScrap = register(26, "stock.scrap", cols("item", Ref, "lot", Text, "from", Ref, "quantity", Uint, "held", Int, "why", Text))
)

// Units: serialised pieces.
var (
	UnitAdd = register(27, "unit.add", cols("item", Ref, "serial", Text, "lot", Text, "place", Ref, "state", Text),
		Set{Field: FieldUnitPlace, Entity: Self, Key: NoKey, Value: 3, SkipEmpty: true},
		Set{Field: FieldUnitState, Entity: Self, Key: NoKey, Value: 4})
	UnitMove = register(28, "unit.move", cols("unit", Ref, "from", Ref, "to", Ref, "note", Text),
		Set{Field: FieldUnitPlace, Entity: 0, Key: NoKey, Value: 2})
	// UnitInstall puts a unit into a slot of an assembly, itself a unit.
	UnitInstall = register(29, "unit.install", cols("unit", Ref, "assembly", Ref, "slot", Text, "run", Ref),
		Set{Field: FieldUnitPlace, Entity: 0, Key: NoKey, Value: 1},
		Set{Field: FieldUnitSlot, Entity: 1, Key: 2, Value: 0})
	UnitRemove = register(30, "unit.remove", cols("unit", Ref, "assembly", Ref, "slot", Text, "to", Ref, "why", Text),
		Set{Field: FieldUnitPlace, Entity: 0, Key: NoKey, Value: 3},
		Set{Field: FieldUnitSlot, Entity: 1, Key: 2, Value: Nothing})
	// UnitFail has hours in service, or -1 where unknown; state is "failed".
	UnitFail = register(31, "unit.fail", cols("unit", Ref, "hours", Int, "mode", Text, "run", Ref, "state", Text),
		Set{Field: FieldUnitState, Entity: 0, Key: NoKey, Value: 4})
)

// Attachments: files about an entity, whose content travels outside the log.
var (
	// AttachAdd tells of a file: about an entity, and a step of it where that is a
	// run (its place plus one; 0: none). The content is named by its SHA-256 and
	// length. Where there is a preview, its length and the first 16 bytes of its
	// SHA-256 are told, as it comes later, in another lane.
	AttachAdd = register(64, "attach.add", cols("entity", Ref, "step_plus_one", Uint, "name", Text, "media_type", Text,
		"size_bytes", Uint, "sha256", Bytes, "preview_bytes", Uint, "preview_sha256", Bytes, "note", Text))
	// AttachPreview is a small picture of an attachment; it travels in bulk.
	AttachPreview = register(65, "attach.preview", cols("attachment", Ref, "media_type", Text, "content", Bytes))
)

// Questions between sites.
var (
	// AskRaise asks about an entity, or about none; urgent is 1 where it goes first.
	AskRaise  = register(66, "ask.raise", cols("about", Ref, "step_plus_one", Uint, "urgent", Uint, "text", Text))
	AskAnswer = register(67, "ask.answer", cols("question", Ref, "text", Text))
)

// Links between sites.
var (
	// LinkAdd describes a link from the site that writes it to a peer, told by its
	// number; what it is like is in the field link.setting.
	LinkAdd = register(72, "link.add", cols("code", Text, "name", Text, "peer", Uint),
		Set{Field: FieldLinkName, Entity: Self, Key: NoKey, Value: 1})
	// LinkElements brings orbital elements of one satellite of a link, as CCSDS OMM
	// (502.0-B) in KVN. Of a satellite's elements those with the latest epoch count.
	LinkElements = register(73, "link.elements", cols("link", Ref, "catalogue_number", Uint, "omm", Text))
)

// Readings taken with instruments, and what those are calibrated to.
var (
	// StepMeasure is a step.reading that was typed in another unit than the step's, or
	// taken with an instrument. Value and uncertainty are in the step's unit; typed is
	// what was typed, where that is something else. Outcome is as its reader was told: 0
	// pass, 1 fail low, 2 fail high, 3 conditional pass, 4 conditional fail, 5 not
	// judged. Due is the last day of the calibration, YYYY-MM-DD, or empty where none is
	// known; coverage is 0 where no uncertainty is.
	StepMeasure = register(80, "step.measure", cols("run", Ref, "step", Uint, "value", Decimal, "outcome", Uint, "typed", Text,
		"instrument", Ref, "calibration", Ref, "due", Text, "uncertainty", Decimal, "coverage", Decimal))
	// UnitCalibrate says that a unit was calibrated, with the dates of that and of the
	// last day that it holds, YYYY-MM-DD.
	UnitCalibrate = register(81, "unit.calibrate", cols("unit", Ref, "certificate", Text, "laboratory", Text, "calibrated", Text, "due", Text, "note", Text))
	// UnitUncertainty is what a calibration states for readings of one dimension, in the
	// same change-set: U = absolute + percent of the reading / 100, with its coverage
	// factor. Of_unit is the UCUM code that absolute is in.
	UnitUncertainty = register(82, "unit.uncertainty", cols("calibration", Ref, "of_unit", Text, "absolute", Decimal, "percent", Decimal, "coverage", Decimal))
)

// Assemblies: units with slots in order, and a plan of what goes into each.
var (
	// AssemblyPlan is a plan of the slots of an assembly; which plan holds is in the
	// field assembly.plan. Numbers are decimals as text, or empty. Source is the
	// revision of the procedure that it was taken from, or none.
	AssemblyPlan = register(86, "assembly.plan", cols("assembly", Ref, "title", Text, "datum", Text, "length_m", Text, "source", Ref))
	// AssemblySlot is a slot of a plan, in the same change-set; place counts from 0.
	AssemblySlot = register(87, "assembly.slot", cols("plan", Ref, "place", Uint, "slot", Text, "part_number", Text,
		"position_m", Text, "depth_m", Text, "channel", Text, "note", Text))
	// AssemblyBuilt says how a unit came to sit in a slot: all of it, so that nothing is
	// left of what was said about the slot before.
	AssemblyBuilt = register(88, "assembly.built", cols("assembly", Ref, "slot", Text, "unit", Ref, "position_m", Text, "depth_m", Text,
		"channel", Text, "run", Ref, "step_plus_one", Uint, "why", Text),
		Set{Field: FieldAssemblyPosition, Entity: 0, Key: 1, Value: 3},
		Set{Field: FieldAssemblyDepth, Entity: 0, Key: 1, Value: 4},
		Set{Field: FieldAssemblyChannel, Entity: 0, Key: 1, Value: 5})
)

// Paper: what was done where no computer could be, and typed in later.
var (
	// PaperMark says of the changes directly before it in its change-set, so many, that
	// they were typed in from a sheet of paper: who wrote there (a person, or a name
	// where that is nobody known), when (YYYY-MM-DD or YYYY-MM-DDThh:mmZ, or empty), what
	// stands there, and why it was taken in where a rule of the work had stopped it.
	PaperMark = register(102, "paper.mark", cols("run", Ref, "changes", Uint, "writer", Ref, "name", Text,
		"at", Text, "answer", Text, "why", Text))
)

// Revisions in the field.
var (
	// RunMove moves a run to another revision of its procedure; from is the one that it
	// was on, as its author knew. Steps of later entries are numbered anew: their place in
	// the revision, and 1000 for each move of the run that their author knew.
	RunMove = register(104, "run.move", cols("run", Ref, "from", Ref, "to", Ref, "why", Text))
	// RunStay says that a run stays where it is though a later revision is there.
	RunStay = register(105, "run.stay", cols("run", Ref, "revision", Ref, "why", Text))
)

// itemSets assigns the columns of item.add, from the second on, to fields.
func itemSets(fields ...FieldID) []Set {
	var sets []Set
	for i, field := range fields {
		sets = append(sets, Set{Field: field, Entity: Self, Key: NoKey, Value: i + 1})
	}
	return sets
}

// Whom to believe. Only what the campaign's founding site writes of these counts.
var (
	// SiteIntroduce says that a key belongs to a site of the campaign.
	SiteIntroduce = register(68, "site.introduce", cols("key", Bytes, "code", Text, "name", Text, "why", Text))
	// SiteCutoff says how far what a site wrote counts: heads holds rows of epoch (2
	// bytes), class (1), number (5) and hash (32) by lane in order; of a lane that is
	// not there nothing counts. Proof holds the site's own signatures of the heads, as
	// docs/decisions/lost-laptop.md spells out.
	SiteCutoff = register(69, "site.cutoff", cols("key", Bytes, "code", Text, "heads", Bytes, "proof", Bytes, "why", Text))
	// SiteConfide says that a site is named for what is confined (1), or is not any
	// more (0).
	SiteConfide = register(96, "site.confide", cols("key", Bytes, "code", Text, "named", Uint, "why", Text))
)

// People and exposure.
var (
	// WeatherAdd is the weather at a place as somebody read it, and for how long it
	// holds; observed is in Unix minutes.
	WeatherAdd = register(97, "weather.add", cols("location", Ref, "temperature_degc", Decimal, "wind_metres_per_second", Decimal,
		"observed", Uint, "valid_minutes", Uint, "source", Text))
	// PersonArrive says that somebody came to a place to sleep there; arrived is in Unix
	// minutes.
	PersonArrive = confined(98, "person.arrive", cols("person", Ref, "location", Ref, "height_metres", Int, "arrived", Uint))
	// PersonClearance says that somebody has a training (group 0) or a medical clearance
	// (1), or not any more (state 0, else 1), and up to which date (YYYY-MM-DD). There is
	// no room for a reason.
	PersonClearance = confined(99, "person.clearance", cols("person", Ref, "code", Text, "group", Uint, "state", Uint, "valid_until", Text))
	// StepConditions says by what the entry before it in its change-set was allowed: the
	// weather or none, the wind chill index (empty: none), after how many minutes skin can
	// freeze (-1: no time is given), for how many minutes at a stretch work is allowed (-1:
	// no limit), that days of rest were over (1; 0: not asked), the codes that were needed.
	StepConditions = register(100, "step.conditions", cols("run", Ref, "step", Uint, "weather", Ref, "wind_chill", Text,
		"frostbite_minutes", Int, "work_minutes", Int, "rested", Uint, "needs", Text))
)

// What to carry.
var (
	// KitPlan keeps a kit plan as it was made: the days as YYYY-MM-DD, late as 14=0.25 with
	// spaces between, at the place that it is for or none, the planned runs as NAME=COUNT
	// with spaces between; caps are 0 where there is none. Odds are probabilities that no
	// spare runs out: with nothing sent, as planned, and what no plan exceeds (-1: nothing
	// is known of it). Its lines follow in its change-set.
	KitPlan = register(110, "kit.plan", cols("name", Text, "from", Text, "until", Text, "late", Text, "at", Ref, "runs", Text,
		"confidence", Decimal, "mass_cap_grams", Uint, "volume_cap_litres", Decimal, "money_cap_cents", Uint,
		"odds_now", Decimal, "odds", Decimal, "odds_bound", Decimal, "note", Text))
	// KitLine is one item of a plan: basis 0 spare, 1 consumable, 2 no rate known; class 0
	// essential, 1 vital, 2 desirable. Rate is in failures per million unit-hours, known as
	// if from so many failures. Odds are that the stock suffices, -1 where nothing is known.
	KitLine = register(111, "kit.line", cols("plan", Ref, "item", Ref, "basis", Uint, "class", Uint, "installed", Uint, "needed", Uint,
		"pack", Uint, "rate", Decimal, "failures_known", Decimal, "expected", Decimal, "there", Uint, "send", Uint,
		"odds_now", Decimal, "odds", Decimal, "mass_grams", Uint, "litres", Decimal, "cents", Uint))
)

// What is on its way. A crate is a location whose sides are told.
var (
	// CrateWeigh is what a packed crate weighs on a scale; reckoned is what its record
	// came to at that moment, so that a later change of what is in it shows.
	CrateWeigh = register(116, "crate.weigh", cols("crate", Ref, "gross_grams", Uint, "reckoned_grams", Uint, "seal", Text, "note", Text))
	// ManifestMake lists crates that go together from a place to another, until needed
	// (YYYY-MM-DD, or empty). Transit is the place, in the same change-set, where they are
	// while they are under way; its code is the manifest's. Crates and lines follow in its
	// change-set, as they were.
	ManifestMake = register(117, "manifest.make", cols("transit", Ref, "from", Ref, "to", Ref, "needed", Text, "route", Text,
		"consignor", Text, "consignee", Text, "note", Text))
	// ManifestCrate is a piece of a manifest, counted from 1. Weighed is 1 where the gross
	// mass was read from a scale, 0 where it was reckoned. Kept is as -20..5 in °C, or empty.
	ManifestCrate = register(118, "manifest.crate", cols("manifest", Ref, "crate", Ref, "piece", Uint, "length_mm", Uint, "width_mm", Uint, "height_mm", Uint,
		"tare_grams", Uint, "gross_grams", Uint, "weighed", Uint, "seal", Text, "kept_degc", Text))
	// ManifestLine is what is in a crate of a manifest: a quantity of a lot, or a unit with
	// what is installed in it; grams is all of the line, 0 where nothing is known.
	ManifestLine = register(119, "manifest.line", cols("manifest", Ref, "crate", Ref, "item", Ref, "lot", Text, "unit", Ref, "quantity", Uint, "grams", Uint))
	// ManifestSend says that the crates left, on a day (YYYY-MM-DD).
	ManifestSend = register(120, "manifest.send", cols("manifest", Ref, "day", Text, "carrier", Text, "note", Text))
	// ManifestScan is what was found on arrival: a crate (item and unit are none), a
	// quantity of a lot in it, or a unit. Condition is 0 good, 1 damaged, 2 at a wrong
	// temperature. Whole is 1 for a crate that was taken unopened, its seal unbroken. Lowest
	// and highest are °C on its logger, or empty.
	ManifestScan = register(121, "manifest.scan", cols("manifest", Ref, "crate", Ref, "item", Ref, "lot", Text, "unit", Ref, "quantity", Uint,
		"condition", Uint, "whole", Uint, "seal", Text, "lowest_degc", Text, "highest_degc", Text, "note", Text))
	// ManifestBook takes a crate that arrived in at a place, by what was scanned; what
	// differs from the manifest follows in its change-set.
	ManifestBook = register(122, "manifest.book", cols("manifest", Ref, "crate", Ref, "at", Ref, "note", Text))
	// ManifestFinding is what differed, and the movement or nonconformance that it became.
	// What is 1 short, 2 over, 3 damaged, 4 at a wrong temperature.
	ManifestFinding = register(123, "manifest.finding", cols("manifest", Ref, "crate", Ref, "item", Ref, "lot", Text, "unit", Ref,
		"what", Uint, "quantity", Uint, "became", Ref))
)

// Counts of a place by people who are not shown the record.
var (
	// CountOpen asks for a blind count of all that lies at a place, by the record of its
	// context. A difference of at most tolerance needs no recount.
	CountOpen = register(130, "count.open", cols("location", Ref, "tolerance", Uint, "note", Text))
	// CountEnter is what somebody counted of a lot; held is what the record said, which
	// was not shown. Alone says why the same person counted it twice, or is empty.
	CountEnter = register(131, "count.enter", cols("sheet", Ref, "item", Ref, "lot", Text, "counted", Uint, "held", Int, "alone", Text))
	// CountSettle says that a lot of a sheet is counted; movement is the stock.count in
	// the same change-set that takes the difference in.
	CountSettle = register(132, "count.settle", cols("sheet", Ref, "item", Ref, "lot", Text, "movement", Ref))
)

// Lots that are not to be used.
var (
	// LotHold puts a lot into quarantine, wherever it lies or at one location.
	LotHold = register(133, "lot.hold", cols("item", Ref, "lot", Text, "location", Ref, "why", Text))
	// LotRelease ends one hold; a hold that its author had not heard of goes on.
	LotRelease = register(134, "lot.release", cols("hold", Ref, "why", Text))
)

// What is kept for runs.
var (
	// StockReserve keeps a quantity at a place for a run; what is issued to the run from
	// there is taken from it.
	StockReserve = register(135, "stock.reserve", cols("run", Ref, "item", Ref, "location", Ref, "quantity", Uint, "note", Text))
	ReserveEnd   = register(136, "reserve.end", cols("reservation", Ref, "why", Text))
)

// ItemPack says how many units of issue are in what an item comes in, such as a box; 0: it
// comes in that no more. Quantities on record are in units of issue whatever it says.
var ItemPack = register(137, "item.pack", cols("item", Ref, "name", Text, "quantity", Uint, "why", Text))

// What may stand for what.
var (
	// ItemSubstitute says that one piece of stand may be taken in place of one of item (1),
	// or not any more (0); by people with a role, or by everybody where that is empty.
	ItemSubstitute = register(138, "item.substitute", cols("item", Ref, "stand", Ref, "role", Text, "allowed", Uint, "why", Text))
	// StockInstead says of a movement in the same change-set that the item was taken in
	// place of another.
	StockInstead = register(139, "stock.instead", cols("movement", Ref, "item", Ref))
)

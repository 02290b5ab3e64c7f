package main

import "time"

// dayReport is one UTC day as one store knows it, and what needs someone now. It is
// what pulk report day --json prints; both renderers read nothing else.
//
// Times are UTC, to the second. Lists are in the order in which they are shown and
// are empty rather than missing. Ids are those that every command takes.
type dayReport struct {
	Campaign    string    `json:"campaign"`
	Site        string    `json:"site"`      // code of the site that made the report
	SiteName    string    `json:"site_name"` //
	Date        string    `json:"date"`      // YYYY-MM-DD
	MadeAt      time.Time `json:"made_at"`
	StateDigest string    `json:"state_digest"` // equal at every site that has the same changes
	Remark      string    `json:"remark"`       // that the day is not over, or has not begun; else empty

	Needs    dayNeeds       `json:"needs_someone"` // as of made_at
	Runs     []dayRun       `json:"runs"`          // those in which something was written that day
	NotHere  []dayNotHere   `json:"runs_not_here_yet"`
	Holds    []dayHold      `json:"holds"` // of runs that go on, as of made_at
	NCs      []dayNC        `json:"nonconformances"`
	SignOffs []daySignOff   `json:"sign_offs"`
	Reviews  []reviewDetail `json:"reviews"` // that were opened, of runs that go on, as of made_at
	Waivers  []waiverRow    `json:"waivers"` // all that were ever asked for, in every report
	Stock    []dayMovement  `json:"movements"`
	Expiring []dayExpiry    `json:"expiring"` // within expiryDays of made_at, and what has expired; null where that is not worked out
	Units    []dayUnitEvent `json:"units"`
	Due      []dayDue       `json:"calibrations_due"` // within expiryDays of made_at, and what is overdue, the first due first
	Others   []dayOther     `json:"others"`           // revisions, persons, sites
	Attached []dayAttached  `json:"attachments"`
	Sites    []daySite      `json:"sites"`
	Late     []dayLate      `json:"came_late"`
	Counts   dayCounts      `json:"counts"`

	zone *time.Location // for the local time beside UTC; nil is UTC
}

// expiryDays is how far ahead the report looks for what expires.
const expiryDays = 60

// reportConflicts is of how many conflicts a report tells; the others it counts.
const reportConflicts = 100

// dayNeeds is what needs someone, the worst first.
type dayNeeds struct {
	Conflicts     []dayConflict `json:"conflicts"`      // urgent ones first
	MoreConflicts int           `json:"conflicts_more"` // beyond those
	Gates         []dayHold     `json:"gates_shut_again"`
	NCs           []dayNC       `json:"open_nonconformances"`
	Questions     []askRow      `json:"open_questions"` // urgent ones first
	Short         []dayShort    `json:"stock_short"`    // null where that is not worked out
}

// dayConflict is what sites did without having heard of each other.
type dayConflict struct {
	ID     string    `json:"id"`
	Urgent bool      `json:"urgent"` // a step that cannot be undone is concerned
	What   string    `json:"what"`
	Advice string    `json:"advice"`
	Sides  []daySide `json:"sides"`
}

// daySide is one side of a conflict.
type daySide struct {
	What   string    `json:"what"`
	Person string    `json:"person"`
	Site   string    `json:"site"`
	At     time.Time `json:"at"`
	Knew   string    `json:"knew"`
	Change string    `json:"change"`
}

// dayRun is a run and what was written in it that day.
type dayRun struct {
	ID        string     `json:"id"`
	Title     string     `json:"title"`
	Procedure string     `json:"procedure"` // empty while it is not here yet
	Revision  string     `json:"revision"`
	Target    string     `json:"target"`
	State     string     `json:"state"` // open, finished, ended, abandoned
	Done      int        `json:"steps_done"`
	Steps     int        `json:"steps"`
	Next      string     `json:"next_step"`
	StartedAt time.Time  `json:"started_at"`
	StartedBy string     `json:"started_by"`
	Started   bool       `json:"started_that_day"`
	Events    []dayEvent `json:"events"` // by time
}

// dayEvent is one entry about a run.
type dayEvent struct {
	ID           string      `json:"id"`
	At           time.Time   `json:"at"`
	Person       string      `json:"person"`
	Kind         string      `json:"kind"` // as in the change table: step.check, step.reading, …
	Step         string      `json:"step"` // id of the step; empty for the run as a whole
	Text         string      `json:"text"` // what it says, in words
	Bad          bool        `json:"bad"`  // a no, or a reading outside its limits
	Irreversible bool        `json:"irreversible"`
	Voided       bool        `json:"voided"`
	check        string      // of a readiness review: its name
	Reading      *dayReading `json:"reading,omitempty"`
}

// dayReading is a reading with what it is judged by.
type dayReading struct {
	Quantity string  `json:"quantity"`
	Value    string  `json:"value"`  // as written down
	Unit     string  `json:"unit"`   // UCUM
	Limits   string  `json:"limits"` // in words; empty while the revision is not here
	Min      *string `json:"min"`    // null where there is none
	Max      *string `json:"max"`
	Verdict  string  `json:"verdict"` // pass, conditional pass, conditional fail, fail low, fail high; not judged while the revision is not here, or where an uncertainty that the rule needs is not known
	Flag     string  `json:"flag"`    // why it does not count whatever the verdict, as its instrument was out of calibration; or empty
	Typed    string  `json:"typed"`   // as typed, where that was in another unit

	Instrument  string   `json:"instrument"`           // serial of what it was taken with, or empty
	Due         string   `json:"due_on"`               // last day of the calibration that was known, or empty
	U           *string  `json:"expanded_uncertainty"` // in the unit; null where unknown
	Coverage    *string  `json:"coverage_factor"`
	Probability *float64 `json:"conformance_probability"` // normal; null where the uncertainty is unknown or there are no limits

	Worked []string `json:"worked_out"`      // the arithmetic of limits that are worked out, each from the formula to its result
	From   []string `json:"worked_out_from"` // the values put in, and where each is from

	bad bool // outside its limits
}

// dayNotHere is a run of which only entries are here.
type dayNotHere struct {
	ID      string `json:"id"`
	Entries int    `json:"entries"`
}

// dayHold is a hold or witness point that is shut, and what it waits for.
type dayHold struct {
	Run    string   `json:"run"`
	Title  string   `json:"title"`
	Step   string   `json:"step"`
	Kind   string   `json:"kind"` // hold or witness
	Role   string   `json:"role"`
	Need   int      `json:"need"` // different people
	Have   int      `json:"have"`
	Before int      `json:"steps_before_not_done"`
	Waits  []string `json:"waits_for"`
	Fallen bool     `json:"fallen"`      // a go was signed and does not hold any more, or a stop was
	Later  int      `json:"later_gates"` // shut gates of the run behind this one
}

// dayNC is a nonconformance.
type dayNC struct {
	ID        string        `json:"id"`
	Text      string        `json:"text"`
	Run       string        `json:"run"`  // empty where it is about none
	Step      string        `json:"step"` //
	Unit      string        `json:"unit"` //
	RaisedAt  time.Time     `json:"raised_at"`
	RaisedBy  string        `json:"raised_by"`
	Open      bool          `json:"open"`
	Contested bool          `json:"contested"` // decided differently by people who had not seen each other's decision
	Raised    bool          `json:"raised_that_day"`
	Decisions []dayDecision `json:"decisions"` // those that stand; none while open
}

// dayDecision is a disposition.
type dayDecision struct {
	Disposition string    `json:"disposition"`
	Why         string    `json:"why"`
	Person      string    `json:"person"`
	At          time.Time `json:"at"`
}

// daySignOff is a sign-off that was given that day, or that fell that day.
type daySignOff struct {
	ID       string     `json:"id"`
	Run      string     `json:"run"`
	Title    string     `json:"title"`
	Step     string     `json:"step"`
	Person   string     `json:"person"`
	Role     string     `json:"role"`
	Verdict  string     `json:"verdict"` // go or stop
	At       time.Time  `json:"at"`
	Standing string     `json:"standing"` // as pulk run show says it
	Because  string     `json:"because"`  // what overtook or reopened it
	By       string     `json:"by"`       // id of that
	FellAt   *time.Time `json:"fell_at"`  // when that was written; null while it holds
	Given    bool       `json:"given_that_day"`
}

// dayMovement is a movement of stock.
type dayMovement struct {
	ID       string    `json:"id"`
	At       time.Time `json:"at"`
	Person   string    `json:"person"`
	Kind     string    `json:"kind"` // receive, move, issue, count, scrap
	Item     string    `json:"item"`
	Lot      string    `json:"lot"`
	From     string    `json:"from"`
	To       string    `json:"to"`
	Quantity int64     `json:"quantity"` // in the item's unit of issue
	Held     *int64    `json:"held"`     // what the person believed to be there; null where not asked
	Note     string    `json:"note"`
	Voided   bool      `json:"voided"`
}

// dayShort is an item of which there is less than there must be, or less than none.
type dayShort struct {
	Item      string `json:"item"`
	Name      string `json:"name"`
	Place     string `json:"place"` // empty: all places together
	Have      int64  `json:"have"`
	Minimum   int64  `json:"minimum"`
	Unit      string `json:"unit_of_issue"`
	BelowZero bool   `json:"below_zero"` // more was drawn than was there: count it
}

// dayExpiry is a lot that expires soon, or has.
type dayExpiry struct {
	Item     string `json:"item"`
	Name     string `json:"name"`
	Lot      string `json:"lot"`
	Place    string `json:"place"`
	Quantity int64  `json:"quantity"`
	Unit     string `json:"unit_of_issue"`
	Expires  string `json:"expires"` // YYYY-MM-DD, the last good day
	Days     int    `json:"days"`    // from made_at; below zero: expired
}

// dayDue is an instrument whose calibration ends soon, or has ended.
type dayDue struct {
	Unit string `json:"unit"`
	Due  string `json:"due_on"` // YYYY-MM-DD, the last day that it holds
	Days int    `json:"days"`   // from made_at; below zero: overdue
}

// dayUnitEvent is something that happened to a serialised unit.
type dayUnitEvent struct {
	ID     string    `json:"id"`
	At     time.Time `json:"at"`
	Person string    `json:"person"`
	Kind   string    `json:"kind"` // add, move, install, remove, fail, state
	Unit   string    `json:"unit"`
	Text   string    `json:"text"`
	Bad    bool      `json:"bad"` // a failure, or a state that stops
}

// dayOther is something else worth a line.
type dayOther struct {
	ID     string    `json:"id"`
	At     time.Time `json:"at"`
	Person string    `json:"person"`
	Text   string    `json:"text"`
}

// dayAttached is a file that was attached that day.
type dayAttached struct {
	attachRow
	preview []byte // a JPEG, or nil
}

// daySite is how far this store and another site are.
type daySite struct {
	Code        string     `json:"code"`
	Trusted     bool       `json:"trusted"`
	HeardAt     *time.Time `json:"heard_at"`     // when its latest bundle was taken here
	WroteAt     *time.Time `json:"wrote_at"`     // when a bundle was last made for it
	NewestAt    *time.Time `json:"newest_at"`    // when the newest change of it that is here was written
	AgeSeconds  int64      `json:"age_seconds"`  // made_at less newest_at; 0 where there is none
	Here        uint64     `json:"here"`         // change-sets of it that are here
	Waiting     uint64     `json:"waiting_here"` // change-sets that it has not acknowledged
	Lacking     uint64     `json:"missing_here"` // change-sets that it has and we do not
	SkewSeconds int64      `json:"skew_seconds"` // its clock less ours when heard
	Gaps        []string   `json:"gaps"`         // what must come before something that waits here can count
}

// dayLate is what was written on an earlier day and came here on this one.
type dayLate struct {
	Date    string `json:"date"`
	Changes int    `json:"changes"`
}

// dayCounts is what was written that day, in changes.
type dayCounts struct {
	Changes   int            `json:"changes"`
	People    []string       `json:"people"` // codes
	Checks    int            `json:"checks"`
	Readings  int            `json:"readings"`
	Failed    int            `json:"readings_failed"`
	Records   int            `json:"records"`
	Notes     int            `json:"notes"`
	SignOffs  int            `json:"sign_offs"`
	Voids     int            `json:"voids"`
	Raised    int            `json:"nonconformances_raised"`
	Decided   int            `json:"nonconformances_decided"`
	Movements int            `json:"movements"`
	Units     int            `json:"unit_changes"`
	Others    int            `json:"others"`
	Sites     map[string]int `json:"by_site"` // code of the site that wrote them
}

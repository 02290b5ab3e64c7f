package seasons

import (
	"strconv"
	"time"
)

// register holds the units and writes down what happens to them.
type register struct {
	units  []*unit // in the order of their serials' kinds
	bySlot map[string]*unit
	events []unitEvent
}

type unit struct {
	serial, part string
	madeOn       time.Time
	place        string // empty until received
	post         *post  // nil when in no slot
	installed    time.Time
	lifeHours    float64 // running hours it will last; 0 = longer than the story
	meterHours   float64 // running hours up to its last removal
	failed       bool
	reserved     bool // on its way to a slot or a run
	installs     int
	causes       []string
}

type unitEvent struct {
	at                           time.Time
	serial, event, place, detail string
	hours                        string
}

func newRegister() register { return register{bySlot: map[string]*unit{}} }

func (p *post) key() string { return p.assembly + "/" + p.slot }

func (r *register) note(at time.Time, u *unit, event, detail, hours string) {
	r.events = append(r.events, unitEvent{at, u.serial, event, u.place, detail, hours})
}

func (r *register) receive(at time.Time, u *unit, place string) {
	u.place = place
	r.note(at, u, "receive", "", "")
}

// move takes a unit to place with all that is installed in it.
func (r *register) move(at time.Time, u *unit, place string) {
	u.place = place
	for _, inner := range r.units {
		if inner.post != nil && inner.post.assembly == u.serial {
			inner.place = place
		}
	}
	r.note(at, u, "move", "", "")
}

func (r *register) install(at time.Time, u *unit, p *post) {
	u.post, u.installed, u.reserved = p, at, false
	u.installs++
	r.bySlot[p.key()] = u
	r.note(at, u, "install", p.key(), "")
}

func (r *register) remove(at time.Time, u *unit) {
	u.meterHours += u.post.hoursBetween(u.installed, at)
	r.note(at, u, "remove", u.post.key(), "")
	delete(r.bySlot, u.post.key())
	u.post = nil
}

// fail notes a failure with the running hours when someone read the meter.
func (r *register) fail(at time.Time, u *unit, cause string, metered bool) {
	u.failed = true
	hours := ""
	if metered && u.post != nil {
		hours = strconv.Itoa(int(u.meterHours + u.post.hoursBetween(u.installed, at) + 0.5))
	}
	r.note(at, u, "fail", cause, hours)
}

// find returns the unit with this serial, or nil.
func (r *register) find(serial string) *unit {
	for _, u := range r.units {
		if u.serial == serial {
			return u
		}
	}
	return nil
}

// spare returns the first good unit of part that lies free at the station.
func (r *register) spare(part string) *unit {
	for _, u := range r.units {
		if u.part == part && u.post == nil && !u.failed && !u.reserved && siteOf(u.place) == "stn" {
			return u
		}
	}
	return nil
}

// hoursBetween returns the running hours of a post from one time to another.
func (p *post) hoursBetween(from, to time.Time) float64 {
	hours := 0.0
	for t := from; t.Before(to); t = t.Add(time.Hour) {
		hours += p.runningShare(t)
	}
	return hours
}

// hourReached returns when a unit installed at from has run hours, or the end
// of the records when that comes first.
func (p *post) hourReached(from time.Time, hours float64) time.Time {
	t := from
	for run := 0.0; t.Before(records.until); t = t.Add(time.Hour) {
		if run += p.runningShare(t); run >= hours {
			break
		}
	}
	return t
}

// runningShare returns the part of an hour, 0 to 1, that a post runs at t.
func (p *post) runningShare(t time.Time) float64 {
	if isDrilling(t) {
		return float64(p.hoursPerDay) / 24
	}
	return float64(p.hoursPerDayOutside) / 24
}

func (r *register) unitRows() [][]string {
	rows := [][]string{{"serial", "part_number", "made_on"}}
	for _, u := range r.units {
		rows = append(rows, []string{u.serial, u.part, u.madeOn.Format(time.DateOnly)})
	}
	return rows
}

func (r *register) eventRows() [][]string {
	rows := [][]string{{"at", "serial", "event", "place", "detail", "hours"}}
	for _, e := range r.events {
		rows = append(rows, []string{stamp(e.at), e.serial, e.event, e.place, e.detail, e.hours})
	}
	return rows
}

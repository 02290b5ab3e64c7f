package run

import (
	"fmt"

	"pulk/checklist/limit"
	"pulk/checklist/procedure"
	"pulk/schema/kind"
	"pulk/sync/change"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Projection keeps the tables of runs: what each is, and which changes are about
// it. What those say is read from the log.
type Projection struct{}

// Name implements [changelog.Projector].
func (Projection) Name() string { return "run" }

// Schema implements [changelog.Projector].
func (Projection) Schema() string {
	return `
-- run is every carrying-out of a procedure.
CREATE TABLE run (
  dot      BLOB PRIMARY KEY,
  revision BLOB,  -- dot
  target   BLOB,  -- dot of a unit
  location BLOB   -- dot
) STRICT, WITHOUT ROWID;
CREATE INDEX run_target ON run (target) WHERE target IS NOT NULL;

-- run_entry lists the changes about a run; the run itself may not be here yet.
CREATE TABLE run_entry (
  run  BLOB NOT NULL,
  dot  BLOB NOT NULL,
  kind INTEGER NOT NULL,
  PRIMARY KEY (run, dot)
) STRICT, WITHOUT ROWID;

-- nonconformance is every one raised, about a run, a unit or both.
CREATE TABLE nonconformance (
  dot  BLOB PRIMARY KEY,
  run  BLOB,
  unit BLOB
) STRICT, WITHOUT ROWID;
CREATE INDEX nonconformance_unit ON nonconformance (unit) WHERE unit IS NOT NULL;

-- loose_disposition is every disposition of a nonconformance about no run.
CREATE TABLE loose_disposition (
  dot BLOB PRIMARY KEY,
  nc  BLOB NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX loose_disposition_nc ON loose_disposition (nc);

-- recall is every void of what is about no run: of a calibration, among others.
CREATE TABLE recall (
  dot    BLOB PRIMARY KEY,
  target BLOB NOT NULL,
  why    TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX recall_target ON recall (target);

-- recorded_unit lists the runs that recorded the serial of a unit.
CREATE TABLE recorded_unit (
  unit BLOB NOT NULL,
  run  BLOB NOT NULL,
  PRIMARY KEY (unit, run)
) STRICT, WITHOUT ROWID;

-- paper_mark lists the changes that say which entries of a run were typed in from
-- paper.
CREATE TABLE paper_mark (
  run BLOB NOT NULL,
  dot BLOB NOT NULL,
  PRIMARY KEY (run, dot)
) STRICT, WITHOUT ROWID;
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string {
	return []string{"run", "run_entry", "nonconformance", "loose_disposition", "recall", "recorded_unit", "paper_mark"}
}

// runColumn is where a kind names the run that it is about.
var runColumn = map[*kind.Kind]int{
	kind.RunEnd: 0, kind.StepCheck: 0, kind.StepReading: 0, kind.StepMeasure: 0, kind.StepRecord: 0, kind.StepBegin: 0, kind.StepSign: 0,
	kind.RunNote: 0, kind.NCRaise: 0, kind.NCDispose: 1, kind.Void: 1, kind.RunMove: 0, kind.RunStay: 0,
	kind.ReviewOpen: 0, kind.ReviewCheck: 0, kind.ReviewAsk: 0, kind.ReviewAnswer: 0, kind.ReviewWaive: 0, kind.ReviewDecide: 0,
}

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	v := e.Values
	if e.Kind == kind.RunStart {
		return tx.Exec("INSERT INTO run (dot, revision, target, location) VALUES (?, ?, ?, ?)", e.Dot.Key(), v[0].Ref.Key(), v[1].Ref.Key(), v[2].Ref.Key())
	}
	if e.Kind == kind.PaperMark && !v[0].Ref.IsZero() {
		return tx.Exec("INSERT INTO paper_mark (run, dot) VALUES (?, ?)", v[0].Ref.Key(), e.Dot.Key())
	}
	column, ok := runColumn[e.Kind]
	if !ok {
		return nil
	}
	run := v[column].Ref
	if e.Kind == kind.NCRaise {
		if err := tx.Exec("INSERT INTO nonconformance (dot, run, unit) VALUES (?, ?, ?)", e.Dot.Key(), run.Key(), v[2].Ref.Key()); err != nil {
			return err
		}
	}
	if run.IsZero() {
		if e.Kind == kind.NCDispose && !v[0].Ref.IsZero() {
			return tx.Exec("INSERT INTO loose_disposition (dot, nc) VALUES (?, ?)", e.Dot.Key(), v[0].Ref.Key())
		}
		if e.Kind == kind.Void && !v[0].Ref.IsZero() {
			return tx.Exec("INSERT INTO recall (dot, target, why) VALUES (?, ?, ?)", e.Dot.Key(), v[0].Ref.Key(), v[2].Text)
		}
		return nil
	}
	if e.Kind == kind.StepRecord && !v[3].Ref.IsZero() {
		if err := tx.Exec("INSERT OR IGNORE INTO recorded_unit (unit, run) VALUES (?, ?)", v[3].Ref.Key(), run.Key()); err != nil {
			return err
		}
	}
	return tx.Exec("INSERT INTO run_entry (run, dot, kind) VALUES (?, ?, ?)", run.Key(), e.Dot.Key(), e.Kind.ID)
}

// Describe implements [changelog.Describer]. A run that something here is about is
// known to be one, though its start is not here yet.
func (Projection) Describe(tx *changelog.Tx, id clock.Dot) (string, error) {
	what, err := workOf(tx, id)
	switch what {
	case "run":
		return "run " + tx.Name(id), err
	case "awaited":
		return "run " + tx.Name(id) + " (its start is not here yet)", err
	case "nonconformance":
		return "nonconformance " + tx.Name(id), err
	}
	return "", err
}

// IsWork reports whether an id is that of a run or of a nonconformance, as far as can
// be told from what is here.
func IsWork(tx *changelog.Tx, id clock.Dot) (bool, error) {
	what, err := workOf(tx, id)
	return what != "", err
}

// workOf tells "run", "awaited" for a run whose start is not here, "nonconformance", or
// nothing.
func workOf(tx *changelog.Tx, id clock.Dot) (string, error) {
	what := ""
	_, err := tx.Row(`SELECT CASE
		WHEN EXISTS (SELECT 1 FROM run WHERE dot = ?1) THEN 'run'
		WHEN EXISTS (SELECT 1 FROM run_entry WHERE run = ?1) THEN 'awaited'
		WHEN EXISTS (SELECT 1 FROM nonconformance WHERE dot = ?1) THEN 'nonconformance'
		ELSE '' END`, []any{id.Key()}, &what)
	return what, err
}

// ErrNotHere is returned by Load for a run whose start is not here.
var ErrNotHere = fmt.Errorf("the run's start is not here yet")

// Load reads all that is known of a run.
func Load(tx *changelog.Tx, id clock.Dot) (*Record, error) { return NewReader(tx).Load(id) }

// Reader reads runs within one transaction, and each revision once for all of them.
type Reader struct {
	tx         *changelog.Tx
	procedures map[clock.Dot]*procedure.Procedure
}

// NewReader returns a reader of runs.
func NewReader(tx *changelog.Tx) *Reader {
	return &Reader{tx, map[clock.Dot]*procedure.Procedure{}}
}

// Procedure returns the procedure of a revision; nil where it is not here yet. It
// is not to be changed.
func (rd *Reader) Procedure(revision clock.Dot) (*procedure.Procedure, error) {
	if p, known := rd.procedures[revision]; known {
		return p, nil
	}
	p, err := procedure.Load(rd.tx, revision)
	if err == nil {
		rd.procedures[revision] = p
	}
	return p, err
}

// Load reads all that is known of a run.
func (rd *Reader) Load(id clock.Dot) (*Record, error) {
	tx := rd.tx
	r := &Record{Run: id, Roles: map[clock.Dot]map[string]RoleStanding{}, Keys: map[clock.Dot]SigningKey{}}
	var revision, target, location []byte
	found, err := tx.Row("SELECT revision, target, location FROM run WHERE dot = ?", []any{id.Key()}, &revision, &target, &location)
	if err != nil {
		return nil, err
	}
	if !found {
		return nil, fmt.Errorf("run %s: %w", tx.Name(id), ErrNotHere)
	}
	for _, field := range []struct {
		key []byte
		dot *clock.Dot
	}{{revision, &r.Revision}, {target, &r.Target}, {location, &r.Location}} {
		if *field.dot, err = clock.DotFromKey(field.key); err != nil {
			return nil, err
		}
	}
	if err := r.loadStart(tx); err != nil {
		return nil, err
	}
	if r.Procedure, err = rd.Procedure(r.Revision); err != nil {
		return nil, err
	}
	if r.Entries, err = entriesOf(tx, "SELECT dot FROM run_entry WHERE run = ? ORDER BY dot", id); err != nil {
		return nil, err
	}
	if err := rd.loadRevisions(r); err != nil {
		return nil, err
	}
	if err := r.findAwaited(tx); err != nil {
		return nil, err
	}
	if err := r.loadPaper(tx); err != nil {
		return nil, err
	}
	if err := r.loadRecalls(tx); err != nil {
		return nil, err
	}
	if err := r.loadFacts(tx); err != nil {
		return nil, err
	}
	if err := r.loadOutside(tx); err != nil {
		return nil, err
	}
	return r, r.loadSigners(tx)
}

// Awaited returns what is known of a run whose start is not here yet: the entries
// about it, and nothing of its procedure, so that every gate of it is shut. It has no
// entries where nothing is known.
func Awaited(tx *changelog.Tx, id clock.Dot) (*State, error) {
	r := &Record{Run: id, Roles: map[clock.Dot]map[string]RoleStanding{}, Keys: map[clock.Dot]SigningKey{}}
	var err error
	if r.Entries, err = entriesOf(tx, "SELECT dot FROM run_entry WHERE run = ? ORDER BY dot", id); err != nil {
		return nil, err
	}
	return Evaluate(r), r.findAwaited(tx)
}

// findAwaited marks the voids of what is not here yet: they are expedited, and
// overtake what they void. Of a forked lane the target may be here or not, as far as
// can be told, where the author's history is not; it is then awaited too, as the
// change that is here under its number may be another.
func (r *Record) findAwaited(tx *changelog.Tx) error {
	for i := range r.Entries {
		e := &r.Entries[i]
		if e.Kind != kind.Void || e.Ref.IsZero() {
			continue
		}
		here, err := tx.Here(e.Ref)
		if err != nil {
			return err
		}
		e.Awaited = !here || !e.Ctx.Has(e.Ref)
	}
	return nil
}

func (r *Record) loadStart(tx *changelog.Tx) error {
	start, err := tx.Entry(r.Run)
	if err != nil {
		return err
	}
	r.Person, r.At = start.Person, start.At
	if r.Hash, err = tx.HashOf(r.Run); err != nil {
		return err
	}
	title, err := tx.Register(r.Run, kind.FieldRunTitle, "")
	if err != nil {
		return err
	}
	value, _, err := tx.Stands(title)
	r.Title = value.Text
	return err
}

// entriesOf reads the changes that a query lists.
func entriesOf(tx *changelog.Tx, query string, args ...clock.Dot) ([]Entry, error) {
	var keys []any
	for _, dot := range args {
		keys = append(keys, dot.Key())
	}
	dots, err := tx.Dots(query, keys...)
	if err != nil {
		return nil, err
	}
	entries := make([]Entry, 0, len(dots))
	err = tx.EachRecorded(dots, func(logged changelog.Recorded) error {
		entries = append(entries, entryFrom(logged))
		return nil
	})
	return entries, err
}

func entryFrom(logged changelog.Recorded) Entry {
	e := Entry{Dot: logged.Dot, At: logged.At, Person: logged.Person, Kind: logged.Kind, Step: NoStep, Ctx: logged.Ctx, Hash: logged.Hash}
	e.fill(logged.Values)
	return e
}

// fill takes an entry's fields from the values of its kind.
func (e *Entry) fill(v []change.Value) {
	switch e.Kind {
	case kind.StepCheck:
		e.Step, e.Answer = int(v[1].Num), v[2].Num
	case kind.StepReading:
		e.Step, e.Value, e.Instrument = int(v[1].Num), v[2].Decimal(), v[4].Ref
	case kind.StepMeasure:
		e.Kind, e.Step = kind.StepReading, int(v[1].Num)
		e.Measured = Measured{Value: v[2].Decimal(), Typed: v[4].Text, Instrument: v[5].Ref, Calibration: v[6].Ref, Due: v[7].Text,
			U: limit.Uncertainty{Expanded: v[8].Decimal(), Coverage: v[9].Decimal()}}
	case kind.StepRecord:
		e.Step, e.Text, e.Unit = int(v[1].Num), v[2].Text, v[3].Ref
	case kind.StepBegin:
		e.Step = int(v[1].Num)
	case kind.StepSign:
		e.Step, e.Verdict, e.Role = int(v[1].Num), Verdict(v[2].Num), v[3].Text
		e.Digest, e.Key, e.Signature = []byte(v[4].Text), v[5].Ref, []byte(v[6].Text)
	case kind.RunNote:
		e.Step, e.Text = int(v[1].Num)-1, v[2].Text
	case kind.NCRaise:
		e.Step, e.Unit, e.Ref, e.Text = int(v[1].Num)-1, v[2].Ref, v[3].Ref, v[4].Text
	case kind.NCDispose:
		e.Ref, e.Disposition, e.Text = v[0].Ref, Disposition(v[2].Num), v[3].Text
	case kind.Void:
		e.Ref, e.Text = v[0].Ref, v[2].Text
	case kind.RunEnd:
		e.Answer, e.Text = v[1].Num, v[2].Text
	case kind.RunMove:
		e.Ref, e.Text = v[2].Ref, v[3].Text
	case kind.RunStay:
		e.Ref, e.Text = v[1].Ref, v[2].Text
	default:
		e.fillReview(v)
	}
}

// loadRecalls reads the voids of the calibrations that readings carry.
func (r *Record) loadRecalls(tx *changelog.Tx) error {
	read := map[clock.Dot]bool{{}: true}
	for i := range r.Entries {
		calibration := r.Entries[i].Calibration
		if read[calibration] {
			continue
		}
		read[calibration] = true
		err := tx.Each("SELECT dot, why FROM recall WHERE target = ? ORDER BY dot", []any{calibration.Key()}, func(scan func(...any) error) error {
			recall, key := Recall{Calibration: calibration}, []byte(nil)
			if err := scan(&key, &recall.Why); err != nil {
				return err
			}
			var err error
			recall.Dot, err = clock.DotFromKey(key)
			r.Recalls = append(r.Recalls, recall)
			return err
		})
		if err != nil {
			return err
		}
	}
	for i := range r.Recalls {
		var err error
		if r.Recalls[i].Ctx, err = tx.Context(r.Recalls[i].Dot); err != nil {
			return err
		}
	}
	return nil
}

// loadSigners reads the roles and keys of those who signed.
func (r *Record) loadSigners(tx *changelog.Tx) error {
	for i := range r.Entries {
		e := &r.Entries[i]
		for _, role := range r.rolesAsked(e) {
			if err := r.loadRole(tx, e.Person, role); err != nil {
				return err
			}
		}
		if e.Key.IsZero() {
			continue
		}
		if err := r.loadKey(tx, e.Key); err != nil {
			return err
		}
	}
	return nil
}

func (r *Record) loadRole(tx *changelog.Tx, person clock.Dot, role string) error {
	if _, ok := r.Roles[person][role]; ok {
		return nil
	}
	history, err := tx.History(person, kind.FieldPersonRole, role)
	if err != nil {
		return err
	}
	var standing RoleStanding
	for _, a := range history {
		standing = append(standing, RoleChange{a.Dot, a.Ctx, a.Text == "granted"})
	}
	if r.Roles[person] == nil {
		r.Roles[person] = map[string]RoleStanding{}
	}
	r.Roles[person][role] = standing
	return nil
}

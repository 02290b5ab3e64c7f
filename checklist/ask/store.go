package ask

import (
	"pulk/schema/kind"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

// Projection lists questions and answers. What they say is read from the log.
type Projection struct{}

// Name implements [changelog.Projector].
func (Projection) Name() string { return "ask" }

// Schema implements [changelog.Projector].
func (Projection) Schema() string {
	return `
-- question is every question that was asked.
CREATE TABLE question (
  dot   BLOB PRIMARY KEY,
  about BLOB -- dot
) STRICT, WITHOUT ROWID;

-- answer is every answer; its question may not be here yet.
CREATE TABLE answer (
  question BLOB NOT NULL, -- dot
  dot      BLOB NOT NULL,
  PRIMARY KEY (question, dot)
) STRICT, WITHOUT ROWID;
`
}

// Tables implements [changelog.Projector].
func (Projection) Tables() []string { return []string{"question", "answer"} }

// Apply implements [changelog.Projector].
func (Projection) Apply(tx *changelog.Tx, e *changelog.Entry) error {
	switch {
	case e.Kind == kind.AskRaise:
		return tx.Exec("INSERT INTO question (dot, about) VALUES (?, ?)", e.Dot.Key(), e.Values[0].Ref.Key())
	case e.Kind == kind.AskAnswer && !e.Values[0].Ref.IsZero():
		return tx.Exec("INSERT INTO answer (question, dot) VALUES (?, ?)", e.Values[0].Ref.Key(), e.Dot.Key())
	}
	return nil
}

// Describe implements [changelog.Describer].
func (Projection) Describe(tx *changelog.Tx, id clock.Dot) (string, error) {
	found, err := tx.Row("SELECT 1 FROM question WHERE dot = ?", []any{id.Key()}, new(int))
	if !found || err != nil {
		return "", err
	}
	return "question " + tx.Name(id), nil
}

func all(tx *changelog.Tx) ([]clock.Dot, error) {
	return tx.Dots("SELECT dot FROM question UNION SELECT question FROM answer ORDER BY 1")
}

// questions reads those of some ids that are questions.
func questions(tx *changelog.Tx, ids []clock.Dot) ([]*Question, error) {
	var list []*Question
	for _, id := range ids {
		q := &Question{ID: id, Step: NoStep}
		var err error
		if q.Here, err = tx.Row("SELECT 1 FROM question WHERE dot = ?", []any{id.Key()}, new(int)); err != nil {
			return nil, err
		}
		if q.Here {
			err = q.read(tx)
		}
		if err == nil {
			err = q.readAnswers(tx)
		}
		if err != nil {
			return nil, err
		}
		if q.Here || len(q.Answers) > 0 {
			list = append(list, q)
		}
	}
	return list, nil
}

func (q *Question) read(tx *changelog.Tx) error {
	e, err := tx.Entry(q.ID)
	if err != nil {
		return err
	}
	q.About, q.Step, q.Urgent, q.Text = e.Values[0].Ref, int(e.Values[1].Num)-1, e.Values[2].Num != 0, e.Values[3].Text
	q.At, q.Person = e.At, e.Person
	return nil
}

func (q *Question) readAnswers(tx *changelog.Tx) error {
	dots, err := tx.Dots("SELECT dot FROM answer WHERE question = ? ORDER BY dot", q.ID.Key())
	if err != nil {
		return err
	}
	for _, dot := range dots {
		e, err := tx.Entry(dot)
		if err != nil {
			return err
		}
		q.Answers = append(q.Answers, Answer{dot, e.Values[1].Text, e.At, e.Person})
	}
	return nil
}

package schema

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// Tx is one transaction. Statements are prepared once a transaction and closed
// with it.
type Tx struct {
	ctx      context.Context // without cancelling: see run
	cancel   context.Context
	conn     querier
	prepared map[string]*sql.Stmt
	store    *Store
	writes   bool
}

type querier interface {
	PrepareContext(ctx context.Context, query string) (*sql.Stmt, error)
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
}

// Update runs fn in a transaction that may write: all of what fn wrote is on disk
// when Update returns nil, none of it otherwise.
func (s *Store) Update(ctx context.Context, fn func(*Tx) error) error {
	return s.run(ctx, true, fn)
}

// View runs fn in a transaction that sees one state and may not write.
func (s *Store) View(ctx context.Context, fn func(*Tx) error) error {
	return s.run(ctx, false, fn)
}

func (s *Store) run(cancel context.Context, writes bool, fn func(*Tx) error) error {
	// The driver starts a goroutine a statement to watch a context that can be
	// cancelled, which costs more than most statements. The transaction asks itself
	// instead, before each statement and before the commit.
	ctx := context.WithoutCancel(cancel)
	conn, err := s.db.Conn(cancel)
	if err != nil {
		return err
	}
	defer conn.Close()
	begin := "BEGIN DEFERRED"
	if writes {
		begin = "BEGIN IMMEDIATE"
	}
	if _, err := conn.ExecContext(ctx, begin); err != nil {
		return fmt.Errorf("the store is busy or cannot be read: %w", err)
	}
	tx := &Tx{ctx: ctx, cancel: cancel, conn: conn, prepared: map[string]*sql.Stmt{}, store: s, writes: writes}
	done := false
	defer func() {
		tx.closeStatements()
		if !done { // an error, or a panic on its way up
			conn.ExecContext(ctx, "ROLLBACK")
		}
	}()
	if err := fn(tx); err != nil {
		return err
	}
	if s.FailWrite != nil && writes {
		if err := s.FailWrite(); err != nil {
			return err
		}
	}
	tx.closeStatements()
	if err := cancel.Err(); err != nil {
		return err
	}
	if _, err := conn.ExecContext(ctx, "COMMIT"); err != nil {
		return err
	}
	done = true
	return nil
}

func (tx *Tx) closeStatements() {
	for _, statement := range tx.prepared {
		statement.Close()
	}
	clear(tx.prepared)
}

func (tx *Tx) prepare(query string) (*sql.Stmt, error) {
	if err := tx.cancel.Err(); err != nil {
		return nil, err
	}
	if statement, ok := tx.prepared[query]; ok {
		return statement, nil
	}
	statement, err := tx.conn.PrepareContext(tx.ctx, query)
	if err != nil {
		return nil, fmt.Errorf("%w in: %s", err, query)
	}
	tx.prepared[query] = statement
	return statement, nil
}

// Exec runs a statement that returns no rows. Without arguments the text may hold
// several statements.
func (tx *Tx) Exec(query string, args ...any) error {
	if !tx.writes {
		panic("write in a View: " + query)
	}
	if tx.store.FailWrite != nil {
		if err := tx.store.FailWrite(); err != nil {
			return err
		}
	}
	if len(args) == 0 {
		_, err := tx.conn.ExecContext(tx.ctx, query)
		return err
	}
	statement, err := tx.prepare(query)
	if err != nil {
		return err
	}
	_, err = statement.ExecContext(tx.ctx, args...)
	return err
}

// GiveBack hands the pages that a transaction freed back to the file system, when
// it commits: the file gets shorter.
func (tx *Tx) GiveBack() error {
	return tx.Each("PRAGMA incremental_vacuum", nil, func(func(...any) error) error { return nil })
}

// Row reads the single row of a query into dest. It returns false, and leaves
// dest as it was, where there is none.
func (tx *Tx) Row(query string, args []any, dest ...any) (bool, error) {
	statement, err := tx.prepare(query)
	if err != nil {
		return false, err
	}
	err = statement.QueryRowContext(tx.ctx, args...).Scan(dest...)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	return err == nil, err
}

// Each runs fn for every row of a query; scan reads the columns. fn may run other
// statements of the same transaction, but not change the rows being read.
func (tx *Tx) Each(query string, args []any, fn func(scan func(dest ...any) error) error) error {
	statement, err := tx.prepare(query)
	if err != nil {
		return err
	}
	rows, err := statement.QueryContext(tx.ctx, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := fn(rows.Scan); err != nil {
			return err
		}
	}
	return rows.Err()
}

// Context returns the context the transaction runs under.
func (tx *Tx) Context() context.Context { return tx.cancel }

package schema

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// beside is what SQLite keeps next to a store's file while it is in use, or after it was
// cut off. Written over another store's file they would be taken for its own.
var beside = []string{"-wal", "-shm"}

// ErrInUse says that a file was copied while it was in use, or is in use now.
var ErrInUse = errors.New("the file is in use, or was copied without what belongs to it")

// CopyFile copies the file of a store that nobody uses, from where nothing need be
// written, to a new one that only its owner can read.
func CopyFile(from, to string) error {
	if info, err := os.Stat(from + beside[0]); err == nil && info.Size() > 0 {
		return fmt.Errorf("%s: %w", from, ErrInUse)
	}
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	if _, err = io.Copy(out, in); err == nil {
		err = out.Sync()
	}
	if err = errors.Join(err, out.Close()); err != nil {
		os.Remove(to)
	}
	return err
}

// Rename gives the file of a store that nobody uses, and what lies beside it, another
// name in the same folder, under which there must be nothing. It tells whether any of
// these was there: what lies beside may be all that is left.
func Rename(from, to string) (any bool, err error) {
	for _, end := range append([]string{""}, beside...) {
		if _, err := os.Lstat(to + end); !errors.Is(err, fs.ErrNotExist) {
			return false, fmt.Errorf("%s: %w", to+end, ErrExists)
		}
	}
	// What lies beside goes first: cut off in between, the file is without what it had
	// not taken in yet, but never with what is another's.
	for _, end := range append(append([]string{}, beside...), "") {
		switch err := os.Rename(from+end, to+end); {
		case err == nil:
			any = true
		case !errors.Is(err, fs.ErrNotExist):
			return any, err
		}
	}
	return any, nil
}

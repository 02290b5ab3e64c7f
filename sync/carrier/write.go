package carrier

import (
	"errors"
	"io"
	"os"
	"path/filepath"
)

// WriteThrough writes a file with what fn writes, so that it appears under its name
// whole, or not at all. It is [WriteFile] for what is too large to be in memory.
func WriteThrough(path string, fn func(io.Writer) error) error {
	file, err := os.CreateTemp(filepath.Dir(path), hiddenName+"*")
	if err != nil {
		return err
	}
	defer os.Remove(file.Name()) // a no-op after the rename
	err = fn(file)
	if err == nil {
		err = file.Sync()
	}
	if err = errors.Join(err, file.Close()); err != nil {
		return err
	}
	if err := os.Chmod(file.Name(), 0o644); err != nil {
		return err
	}
	if err := os.Rename(file.Name(), path); err != nil {
		return err
	}
	return SyncFolder(filepath.Dir(path))
}

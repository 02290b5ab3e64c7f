// Package carrier moves bundle files and knows nothing of their content.
package carrier

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// MaxFile is the largest bundle file that is read.
const MaxFile = 64 << 20

// Folder is a folder, a USB stick or a synchronised share, that sites leave bundles
// for each other in: NAME.bundle, where NAME is the sender's id, the addressee's
// id and the start of the content's SHA-256. What was taken is moved to the folder
// "taken" below it.
type Folder struct {
	Path string
}

const (
	extension  = ".bundle"
	takenName  = "taken"
	hiddenName = ".pulk-" // files that are being written
)

// List returns the names of the bundles for a site, the oldest first.
func (f Folder) List(site uint32) ([]string, error) {
	entries, err := os.ReadDir(f.Path)
	if err != nil {
		return nil, err
	}
	type file struct {
		name string
		mod  int64
	}
	var files []file
	for _, entry := range entries {
		if entry.IsDir() || strings.HasPrefix(entry.Name(), ".") || !strings.HasSuffix(entry.Name(), extension) {
			continue
		}
		if parts := strings.Split(entry.Name(), "-"); len(parts) != 3 || parts[1] != fmt.Sprintf("%08x", site) {
			continue
		}
		info, err := entry.Info()
		if errors.Is(err, fs.ErrNotExist) {
			continue // taken away meanwhile
		}
		if err != nil {
			return nil, err
		}
		files = append(files, file{entry.Name(), info.ModTime().UnixNano()})
	}
	slices.SortFunc(files, func(a, b file) int {
		if a.mod != b.mod {
			return int(min(max(a.mod-b.mod, -1), 1))
		}
		return strings.Compare(a.name, b.name)
	})
	var names []string
	for _, file := range files {
		names = append(names, file.name)
	}
	return names, nil
}

// Read returns the content of a listed bundle.
func (f Folder) Read(name string) ([]byte, error) { return ReadFile(filepath.Join(f.Path, name)) }

// Done moves a bundle that was taken aside.
func (f Folder) Done(name string) error {
	folder := filepath.Join(f.Path, takenName)
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return err
	}
	return os.Rename(filepath.Join(f.Path, name), filepath.Join(folder, name))
}

// Put leaves a bundle for a site, and takes away earlier ones of the same sender
// for it, which it replaces: a bundle holds all that is not acknowledged.
func (f Folder) Put(from, to uint32, data []byte) (string, error) {
	digest := sha256.Sum256(data)
	prefix := fmt.Sprintf("%08x-%08x-", from, to)
	name := fmt.Sprintf("%s%x%s", prefix, digest[:6], extension)
	if err := WriteFile(filepath.Join(f.Path, name), data); err != nil {
		return "", err
	}
	entries, err := os.ReadDir(f.Path)
	if err != nil {
		return "", err
	}
	for _, entry := range entries {
		if strings.HasPrefix(entry.Name(), prefix) && entry.Name() != name {
			if err := os.Remove(filepath.Join(f.Path, entry.Name())); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return "", err
			}
		}
	}
	return name, nil
}

// WriteFile writes a file so that it appears under its name whole, or not at all.
func WriteFile(path string, data []byte) error {
	file, err := os.CreateTemp(filepath.Dir(path), hiddenName+"*")
	if err != nil {
		return err
	}
	defer os.Remove(file.Name()) // a no-op after the rename
	_, err = io.Copy(file, bytes.NewReader(data))
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
	return syncFolder(filepath.Dir(path))
}

// syncFolder makes a rename last. Some file systems cannot; that is no error.
func syncFolder(path string) error {
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	folder.Sync()
	return folder.Close()
}

// ReadFile reads a bundle file, up to MaxFile.
func ReadFile(path string) ([]byte, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, MaxFile+1))
	if err == nil && len(data) > MaxFile {
		err = fmt.Errorf("%s: larger than %d bytes, the most that is taken", path, MaxFile)
	}
	return data, err
}

// Package carrier moves parcels and knows nothing of their content.
package carrier

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// MaxFile is the largest parcel that is read.
const MaxFile = 8 << 20

// Folder is a folder, a USB stick or a synchronised share, that sites leave parcels
// for each other in: FROM-TO-SLOT-DIGEST.parcel, where FROM and TO are the ids of
// sender and addressee and DIGEST is the start of the content's SHA-256. What was
// taken is moved to the folder "taken" below it.
type Folder struct {
	Path string
}

const (
	extension  = ".parcel"
	takenName  = "taken"
	hiddenName = ".pulk-" // files that are being written
)

// MaxParcelBytes returns 0: a folder takes a parcel of any size.
func (f Folder) MaxParcelBytes() int { return 0 }

// List returns the names of the parcels for a site, the oldest first.
func (f Folder) List(ctx context.Context, site uint32) ([]string, error) {
	type file struct {
		name string
		mod  int64
	}
	var files []file
	err := f.each(func(entry fs.DirEntry) error {
		if n, ok := ParseName(entry.Name()); !ok || n.To != site || entry.IsDir() {
			return nil
		}
		info, err := entry.Info()
		if errors.Is(err, fs.ErrNotExist) {
			return nil // taken away meanwhile
		}
		if err == nil {
			files = append(files, file{entry.Name(), info.ModTime().UnixNano()})
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(files, func(a, b file) int {
		return cmp.Or(cmp.Compare(a.mod, b.mod), strings.Compare(a.name, b.name))
	})
	var names []string
	for _, file := range files {
		names = append(names, file.name)
	}
	return names, ctx.Err()
}

// each calls fn for each entry of the folder, in no order. There may be any number of
// files that are none of ours, so they are read some at a time.
func (f Folder) each(fn func(fs.DirEntry) error) error {
	folder, err := os.Open(f.Path)
	if err != nil {
		return err
	}
	defer folder.Close()
	for {
		entries, err := folder.ReadDir(500)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		for _, entry := range entries {
			if err := fn(entry); err != nil {
				return err
			}
		}
	}
}

// Sender returns the site that left a listed parcel, as its name says.
func (f Folder) Sender(name string) (site uint32, ok bool) {
	n, ok := ParseName(name)
	return n.From, ok
}

// Read returns the content of a listed parcel.
func (f Folder) Read(ctx context.Context, name string) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return ReadFile(filepath.Join(f.Path, name))
}

// Done moves a parcel that was taken aside.
func (f Folder) Done(_ context.Context, name string) error {
	folder := filepath.Join(f.Path, takenName)
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return err
	}
	return os.Rename(filepath.Join(f.Path, name), filepath.Join(folder, name))
}

// Put leaves parcels for a site, and then takes away the earlier ones of the same
// sender, addressee and slot.
func (f Folder) Put(ctx context.Context, from, to uint32, slot string, parcels [][]byte) ([]string, error) {
	var names []string
	for _, parcel := range parcels {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		name := NameOf(from, to, slot, parcel).String()
		if err := WriteFile(filepath.Join(f.Path, name), parcel); err != nil {
			return nil, err
		}
		names = append(names, name)
	}
	return names, f.replace(Name{From: from, To: to, Slot: slot}.Prefix(), names)
}

// replace removes the parcels whose names begin with prefix, but those given.
func (f Folder) replace(prefix string, keep []string) error {
	var old []string
	err := f.each(func(entry fs.DirEntry) error {
		if name := entry.Name(); strings.HasPrefix(name, prefix) && strings.HasSuffix(name, extension) && !slices.Contains(keep, name) {
			old = append(old, name)
		}
		return nil
	})
	for _, name := range old { // removed when all were read: what a folder tells while it changes is not said
		if err := os.Remove(filepath.Join(f.Path, name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return err
}

// WriteFile writes a file so that it appears under its name whole, or not at all.
func WriteFile(path string, data []byte) error {
	return WriteThrough(path, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
}

// SyncFolder makes renames in a folder last. Some file systems cannot; that is no error.
func SyncFolder(path string) error {
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	folder.Sync()
	return folder.Close()
}

// ErrTooLarge says that a file is larger than what is read of it.
var ErrTooLarge = errors.New("file too large")

// ReadFile reads a file that holds a parcel, of up to MaxFile bytes.
func ReadFile(path string) ([]byte, error) {
	data, err := ReadAtMost(path, MaxFile)
	if errors.Is(err, ErrTooLarge) {
		err = fmt.Errorf("%s: larger than %d bytes, the most that is taken: ask the sender for smaller parcels", path, MaxFile)
	}
	return data, err
}

// ReadAtMost reads a file of up to most bytes. Any other, were it endless, gives
// ErrTooLarge.
func ReadAtMost(path string, most int) ([]byte, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	var data bytes.Buffer
	if info, err := file.Stat(); err == nil && info.Mode().IsRegular() {
		if info.Size() > int64(most) {
			return nil, ErrTooLarge
		}
		data.Grow(int(info.Size()) + bytes.MinRead) // it need not grow again
	} else {
		data.Grow(most + 1 + bytes.MinRead) // to grow twofold would take more
	}
	if _, err := data.ReadFrom(io.LimitReader(file, int64(most)+1)); err != nil {
		return nil, err
	}
	if data.Len() > most {
		return nil, ErrTooLarge
	}
	return data.Bytes(), nil
}

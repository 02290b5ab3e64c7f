package mail

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"pulk/sync/carrier"
)

// Maildir is a folder with the folders tmp, new and cur, in which each mail is a
// file: mail systems deliver into new, readers move what they have seen to cur and
// note it in the flags behind ":2,".
type Maildir struct {
	Path string
}

// Create makes the folders, where they are not there.
func (m Maildir) Create() error {
	for _, name := range []string{"tmp", "new", "cur"} {
		if err := os.MkdirAll(filepath.Join(m.Path, name), 0o700); err != nil {
			return err
		}
	}
	return nil
}

// Exists reports whether the folder is a maildir.
func (m Maildir) Exists() bool {
	for _, name := range []string{"tmp", "new", "cur"} {
		if info, err := os.Stat(filepath.Join(m.Path, name)); err != nil || !info.IsDir() {
			return false
		}
	}
	return true
}

// Deliver adds a mail under a key that no other mail has ever had. It is in the
// maildir whole and for good, or not at all.
func (m Maildir) Deliver(key string, message []byte) error {
	if strings.ContainsAny(key, "/:\x00") || strings.HasPrefix(key, ".") {
		return fmt.Errorf("maildir %s: %q cannot name a mail", m.Path, key)
	}
	tmp := filepath.Join(m.Path, "tmp", key)
	if err := carrier.WriteFile(tmp, message); err != nil { // synced before it has its name
		return err
	}
	if err := os.Rename(tmp, filepath.Join(m.Path, "new", key)); err != nil {
		return errors.Join(err, os.Remove(tmp))
	}
	return carrier.SyncFolder(filepath.Join(m.Path, "new"))
}

// stored is a mail in a maildir.
type stored struct {
	key  string // its name without folder and flags; it keeps it for life
	path string
}

// mails returns all mails, those that came first in front.
func (m Maildir) mails() ([]stored, error) {
	var list []stored
	for _, name := range []string{"new", "cur"} {
		folder := filepath.Join(m.Path, name)
		entries, err := os.ReadDir(folder)
		if err != nil {
			return nil, err
		}
		for _, entry := range entries {
			if strings.HasPrefix(entry.Name(), ".") || !entry.Type().IsRegular() {
				continue
			}
			key, _, _ := strings.Cut(entry.Name(), ":")
			list = append(list, stored{key, filepath.Join(folder, entry.Name())})
		}
	}
	slices.SortStableFunc(list, func(a, b stored) int { return strings.Compare(a.key, b.key) }) // keys begin with the time
	return list, nil
}

// find returns a mail by its key, wherever it has been moved to meanwhile.
func (m Maildir) find(key string) (stored, error) {
	list, err := m.mails()
	if err != nil {
		return stored{}, err
	}
	for _, mail := range list {
		if mail.key == key {
			return mail, nil
		}
	}
	return stored{}, &fs.PathError{Op: "find mail", Path: filepath.Join(m.Path, key), Err: fs.ErrNotExist}
}

// see moves a mail to cur and adds the flag S, seen, to those that it has.
func (m Maildir) see(mail stored) error {
	_, info, _ := strings.Cut(filepath.Base(mail.path), ":")
	flags, ok := strings.CutPrefix(info, "2,")
	if !ok && info != "" {
		return nil // flags of a kind we do not know: let them be
	}
	if !strings.Contains(flags, "S") {
		letters := append([]byte(flags), 'S')
		slices.Sort(letters)
		flags = string(letters)
	}
	target := filepath.Join(m.Path, "cur", mail.key+":2,"+flags)
	if target == mail.path {
		return nil
	}
	if err := os.Rename(mail.path, target); err != nil {
		return err
	}
	return carrier.SyncFolder(filepath.Join(m.Path, "cur"))
}

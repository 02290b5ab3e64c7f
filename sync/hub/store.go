package hub

import (
	"cmp"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"pulk/sync/carrier"
)

// place is where a parcel lies: from whom, for whom, in which slot, which one.
type place struct {
	from, to uint32
	slot     string
	digest   string // SHA-256, hex
}

// name is what the addressee calls a parcel.
func (p place) name() string { return fmt.Sprintf("%08x-%s-%s", p.from, p.slot, p.digest) }

// store is the hub's folder: parcels/TO/FROM-SLOT-SHA256 are whole parcels, with the
// time of arrival as that of the file; incoming/TO-FROM-SLOT-SHA256 are parts of
// parcels; gone.json tells what was thrown away and why.
type store struct {
	folder string
	mu     sync.Mutex // over changes to gone.json
}

func (s *store) create() error {
	return errors.Join(os.MkdirAll(filepath.Join(s.folder, "parcels"), 0o700), os.MkdirAll(filepath.Join(s.folder, "incoming"), 0o700))
}

func (s *store) shelf(to uint32) string {
	return filepath.Join(s.folder, "parcels", fmt.Sprintf("%08x", to))
}

func (s *store) parcel(p place) string { return filepath.Join(s.shelf(p.to), p.name()) }

func (s *store) part(p place) string {
	return filepath.Join(s.folder, "incoming", fmt.Sprintf("%08x-%s", p.to, p.name()))
}

// size returns the size of a file, 0 if there is none.
func size(path string) (int64, bool, error) {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, false, nil
	}
	if err != nil {
		return 0, false, err
	}
	return info.Size(), true, nil
}

// lying is a whole parcel.
type lying struct {
	name  string
	bytes int64
	at    time.Time
}

// list returns the parcels for a site, the oldest first.
func (s *store) list(to uint32) ([]lying, error) {
	entries, err := os.ReadDir(s.shelf(to))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var list []lying
	for _, entry := range entries {
		info, err := entry.Info()
		if errors.Is(err, fs.ErrNotExist) || err == nil && !namePattern.MatchString(entry.Name()) {
			continue
		}
		if err != nil {
			return nil, err
		}
		list = append(list, lying{entry.Name(), info.Size(), info.ModTime()})
	}
	slices.SortFunc(list, func(a, b lying) int { return cmp.Or(a.at.Compare(b.at), strings.Compare(a.name, b.name)) })
	return list, nil
}

// used returns how much of what waits here, whole or in parts, is from a sender.
func (s *store) used(from uint32) (bytes int64, parcels int, err error) {
	mark := fmt.Sprintf("%08x-", from)
	err = filepath.WalkDir(s.folder, func(path string, entry fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil || entry.IsDir() {
			return err
		}
		name := entry.Name()
		if filepath.Base(filepath.Dir(path)) == "incoming" {
			_, name, _ = strings.Cut(name, "-")
		}
		if !strings.HasPrefix(name, mark) || !namePattern.MatchString(name) {
			return nil
		}
		info, err := entry.Info()
		if err == nil {
			bytes += info.Size()
			parcels++
		}
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	})
	return bytes, parcels, err
}

// errDigest says that what was uploaded is not what was announced.
var errDigest = errors.New("digest differs")

// complete turns the parts of a parcel into the parcel, if they have its digest.
func (s *store) complete(p place, now time.Time) error {
	path := s.part(p)
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	sum := sha256.New()
	_, err = io.Copy(sum, file)
	if err = errors.Join(err, file.Close()); err != nil {
		return err
	}
	if fmt.Sprintf("%x", sum.Sum(nil)) != p.digest {
		return errors.Join(errDigest, os.Remove(path))
	}
	if err := os.MkdirAll(s.shelf(p.to), 0o700); err != nil {
		return err
	}
	if err := os.Chtimes(path, now, now); err != nil {
		return err
	}
	if err := os.Rename(path, s.parcel(p)); err != nil {
		return err
	}
	return carrier.SyncFolder(s.shelf(p.to))
}

// keepOnly removes the parcels of a sender for a site in a slot, whole ones and
// parts, save for those with the digests given.
func (s *store) keepOnly(p place, digests map[string]bool) error {
	var failed error
	remove := func(folder, prefix string) {
		entries, err := os.ReadDir(folder)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			failed = errors.Join(failed, err)
		}
		for _, entry := range entries {
			digest, ours := strings.CutPrefix(entry.Name(), prefix)
			if !ours || !digestPattern.MatchString(digest) || digests[digest] {
				continue
			}
			if err := os.Remove(filepath.Join(folder, entry.Name())); err != nil && !errors.Is(err, fs.ErrNotExist) {
				failed = errors.Join(failed, err)
			}
		}
	}
	prefix := fmt.Sprintf("%08x-%s-", p.from, p.slot)
	remove(s.shelf(p.to), prefix)
	remove(filepath.Join(s.folder, "incoming"), fmt.Sprintf("%08x-", p.to)+prefix)
	return failed
}

// gone tells of a parcel that was thrown away.
type gone struct {
	To     string    `json:"to"`
	Name   string    `json:"name"`
	Bytes  int64     `json:"bytes"`
	Came   time.Time `json:"came"`
	Gone   time.Time `json:"gone"`
	Reason string    `json:"reason"`
}

// maxGone is how many of them are remembered.
const maxGone = 2000

func (s *store) gonePath() string { return filepath.Join(s.folder, "gone.json") }

func (s *store) gone() ([]gone, error) {
	data, err := os.ReadFile(s.gonePath())
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var list []gone
	return list, json.Unmarshal(data, &list)
}

// expired is the one place that decides what has lain for too long.
func expired(came, now time.Time, after time.Duration) (reason string, yes bool) {
	if now.Sub(came) < after {
		return "", false
	}
	return fmt.Sprintf("nobody fetched it for %d days", int(after.Hours()/24)), true
}

// sweep throws away what has expired, and remembers it with the reason.
func (s *store) sweep(now time.Time, after time.Duration) ([]gone, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	shelves, err := os.ReadDir(filepath.Join(s.folder, "parcels"))
	if err != nil {
		return nil, err
	}
	var thrown []gone
	throw := func(folder, to, name string, bytes int64, came time.Time) error {
		reason, yes := expired(came, now, after)
		if !yes {
			return nil
		}
		if err := os.Remove(filepath.Join(folder, name)); err != nil {
			return err
		}
		thrown = append(thrown, gone{to, name, bytes, came.UTC(), now.UTC(), reason})
		return nil
	}
	for _, shelf := range shelves {
		var to uint32
		if _, err := fmt.Sscanf(shelf.Name(), "%08x", &to); err != nil {
			continue
		}
		list, err := s.list(to)
		if err != nil {
			return nil, err
		}
		for _, p := range list {
			if err := throw(s.shelf(to), shelf.Name(), p.name, p.bytes, p.at); err != nil {
				return nil, err
			}
		}
	}
	incoming := filepath.Join(s.folder, "incoming")
	parts, err := os.ReadDir(incoming)
	if err != nil {
		return nil, err
	}
	for _, part := range parts {
		info, err := part.Info()
		if err != nil {
			continue // completed meanwhile
		}
		to, _, _ := strings.Cut(part.Name(), "-")
		if err := throw(incoming, to, part.Name(), info.Size(), info.ModTime()); err != nil {
			return nil, err
		}
	}
	if len(thrown) == 0 {
		return nil, nil
	}
	all, err := s.gone()
	if err != nil {
		return thrown, err
	}
	all = append(all, thrown...)
	data, err := json.Marshal(all[max(0, len(all)-maxGone):])
	if err != nil {
		return thrown, err
	}
	return thrown, carrier.WriteFile(s.gonePath(), data)
}

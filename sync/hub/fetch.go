package hub

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"time"
)

// listing is the answer to GET /v1/parcels.
type listing struct {
	Site           string             `json:"site"`
	MaxParcelBytes int64              `json:"max_parcel_bytes"`
	QuotaBytes     int64              `json:"quota_bytes"`
	UsedBytes      int64              `json:"used_bytes"` // of the quota, by what this site has left here
	Parcels        few[listedParcel]  `json:"parcels"`
	Expired        few[expiredParcel] `json:"expired"`
}

// few is a list in a listing. A longer one than a hub ever makes is refused as it is
// read: an entry of two bytes takes fifty in memory.
type few[T any] []T

// maxFew is what a site takes of a list; a hub lists maxListed or maxGone.
const maxFew = 4000

// UnmarshalJSON reads a list entry by entry.
func (f *few[T]) UnmarshalJSON(data []byte) error {
	decoder := json.NewDecoder(bytes.NewReader(data))
	start, err := decoder.Token()
	if err != nil || start == nil {
		return err // null is none
	}
	if start != json.Delim('[') {
		return errors.New("a list is no list")
	}
	for *f = nil; decoder.More(); {
		if len(*f) == maxFew {
			return fmt.Errorf("a list of more than %d: no hub makes such a one", maxFew)
		}
		var entry T
		if err := decoder.Decode(&entry); err != nil {
			return err
		}
		*f = append(*f, entry)
	}
	return nil
}

// listedParcel is a parcel that waits for whoever asks.
type listedParcel struct {
	Name  string    `json:"name"` // FROM-SLOT-SHA256
	Bytes int64     `json:"bytes"`
	Came  time.Time `json:"came"`
}

// expiredParcel is one that was thrown away before it was fetched.
type expiredParcel struct {
	Name   string    `json:"name"`
	Bytes  int64     `json:"bytes"`
	Gone   time.Time `json:"gone"`
	Reason string    `json:"reason"`
}

// maxListed bounds a listing; when those are taken the next ones show.
const maxListed = 1000

func (h *Hub) list(w http.ResponseWriter, _ *http.Request, site uint32) error {
	lying, err := h.store.list(site)
	if err != nil {
		return err
	}
	used, _, err := h.store.used(site)
	if err != nil {
		return err
	}
	thrown, err := h.store.gone()
	if err != nil {
		return err
	}
	l := listing{Site: fmt.Sprintf("%08x", site), MaxParcelBytes: h.options.MaxParcelBytes, QuotaBytes: h.options.QuotaBytes, UsedBytes: used, Parcels: few[listedParcel]{}, Expired: few[expiredParcel]{}}
	for _, p := range lying[:min(maxListed, len(lying))] {
		l.Parcels = append(l.Parcels, listedParcel{p.name, p.bytes, p.at.UTC()})
	}
	for _, g := range thrown {
		if g.To == l.Site && namePattern.MatchString(g.Name) { // and not a part of one
			l.Expired = append(l.Expired, expiredParcel{g.Name, g.Bytes, g.Gone, g.Reason})
		}
	}
	answer(w, http.StatusOK, l)
	return nil
}

// mine returns the path of a parcel for a site. It is built of the site's own id, so
// that no name leads to another's.
func (h *Hub) mine(r *http.Request, site uint32) (string, error) {
	name := r.PathValue("name")
	if !namePattern.MatchString(name) {
		return "", refuse(http.StatusBadRequest, "see: GET /v1/parcels", "no parcel is named like that")
	}
	return filepath.Join(h.store.shelf(site), name), nil
}

func (h *Hub) download(w http.ResponseWriter, r *http.Request, site uint32) error {
	path, err := h.mine(r, site)
	if err != nil {
		return err
	}
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return h.missing(r.PathValue("name"), site)
	}
	if err != nil {
		return err
	}
	defer file.Close()
	name := r.PathValue("name")
	w.Header().Set("ETag", `"`+name[len(name)-64:]+`"`)
	w.Header().Set("Content-Type", "application/octet-stream")
	slow := newPaced(w)
	defer slow.timer.Stop()
	http.ServeContent(slow, r, "", time.Time{}, file)
	return nil
}

// missing says why a parcel is not here, as far as is known.
func (h *Hub) missing(name string, site uint32) error {
	thrown, err := h.store.gone()
	if err != nil {
		return err
	}
	for _, g := range thrown {
		if g.Name == name && g.To == fmt.Sprintf("%08x", site) {
			return refuse(http.StatusGone, "ask its sender to send again", "thrown away: %s", g.Reason)
		}
	}
	return refuse(http.StatusNotFound, "see: GET /v1/parcels", "no such parcel waits for you")
}

// taken removes a parcel that its addressee has.
func (h *Hub) taken(w http.ResponseWriter, r *http.Request, site uint32) error {
	path, err := h.mine(r, site)
	if err != nil {
		return err
	}
	err = os.Remove(path)
	if errors.Is(err, fs.ErrNotExist) {
		return h.missing(r.PathValue("name"), site)
	}
	if err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

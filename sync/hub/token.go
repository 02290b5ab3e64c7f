package hub

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"pulk/sync/carrier"
)

// TokenNote is what a hub keeps of a token: whose it is and its SHA-256. The token
// itself is kept nowhere; having 32 random bytes it needs no slower hash.
type TokenNote struct {
	Site   string    `json:"site"` // 8 hexadecimal digits
	Label  string    `json:"label"`
	Digest string    `json:"sha256"`
	Made   time.Time `json:"made"`
}

func tokensPath(folder string) string { return filepath.Join(folder, "tokens.json") }

const tokenMark = "pulk-hub-" // lets a token be found where it was pasted by mistake

// MakeToken makes a token for a site, besides those that it has.
func MakeToken(folder string, site uint32, label string, random io.Reader, now time.Time) (string, error) {
	secret := make([]byte, 32)
	if _, err := io.ReadFull(random, secret); err != nil {
		return "", err
	}
	token := tokenMark + base64.RawURLEncoding.EncodeToString(secret)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return "", err
	}
	notes, err := Tokens(folder)
	if err != nil {
		return "", err
	}
	notes = append(notes, TokenNote{Site: fmt.Sprintf("%08x", site), Label: label, Digest: hexDigest([]byte(token)), Made: now.UTC()})
	return token, writeTokens(folder, notes)
}

// RevokeTokens takes all tokens of a site back, and returns how many there were. A
// hub that runs heeds it from its next request on.
func RevokeTokens(folder string, site uint32) (int, error) {
	notes, err := Tokens(folder)
	if err != nil {
		return 0, err
	}
	var kept []TokenNote
	for _, note := range notes {
		if note.Site != fmt.Sprintf("%08x", site) {
			kept = append(kept, note)
		}
	}
	return len(notes) - len(kept), writeTokens(folder, kept)
}

// Tokens returns what a hub's folder keeps of tokens, in the order they were made.
func Tokens(folder string) ([]TokenNote, error) {
	data, err := os.ReadFile(tokensPath(folder))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var notes []TokenNote
	if err := json.Unmarshal(data, &notes); err != nil {
		return nil, fmt.Errorf("%s: %w", tokensPath(folder), err)
	}
	return notes, nil
}

func writeTokens(folder string, notes []TokenNote) error {
	data, err := json.MarshalIndent(notes, "", "  ")
	if err != nil {
		return err
	}
	return carrier.WriteFile(tokensPath(folder), append(data, '\n'))
}

// tokens are those of a running hub: read again when the file has changed.
type tokens struct {
	path string

	mu      sync.Mutex
	changed time.Time
	bytes   int64
	sites   map[[32]byte]uint32
}

func (t *tokens) all() (map[[32]byte]uint32, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	info, err := os.Stat(t.path)
	if errors.Is(err, fs.ErrNotExist) {
		t.sites, t.bytes = map[[32]byte]uint32{}, 0
		return t.sites, nil
	}
	if err != nil {
		return nil, err
	}
	if t.sites != nil && info.ModTime().Equal(t.changed) && info.Size() == t.bytes {
		return t.sites, nil
	}
	notes, err := Tokens(filepath.Dir(t.path))
	if err != nil {
		return nil, err
	}
	sites := map[[32]byte]uint32{}
	for _, note := range notes {
		site, err := strconv.ParseUint(note.Site, 16, 32)
		digest, hexErr := hex.DecodeString(note.Digest)
		if err != nil || hexErr != nil || len(digest) != sha256.Size {
			return nil, fmt.Errorf("%s: the note of site %q is damaged: make its token again", t.path, note.Site)
		}
		sites[[32]byte(digest)] = uint32(site)
	}
	t.sites, t.changed, t.bytes = sites, info.ModTime(), info.Size()
	return sites, nil
}

// site returns whose token stands in an Authorization header. The token is looked
// up by its hash, so that how long it takes tells nothing of a token.
func (t *tokens) site(header string) (site uint32, digest [32]byte, ok bool) {
	scheme, token, _ := strings.Cut(header, " ")
	if !strings.EqualFold(scheme, "Bearer") || len(token) > 200 {
		return 0, digest, false
	}
	all, err := t.all()
	if err != nil {
		return 0, digest, false
	}
	digest = sha256.Sum256([]byte(strings.TrimSpace(token)))
	site, ok = all[digest]
	return site, digest, ok
}

// has reports whether a site has a token.
func (t *tokens) has(site uint32) (bool, error) {
	all, err := t.all()
	for _, known := range all {
		if known == site {
			return true, err
		}
	}
	return false, err
}

// SiteWaiting is what waits for a site that has a token.
type SiteWaiting struct {
	Site    string // 8 hexadecimal digits
	Label   string
	Tokens  int
	Parcels int
	Bytes   int64
}

// Waiting returns the sites that have a token in a hub's folder, in the order in
// which they got their first, and what waits for each.
func Waiting(folder string) ([]SiteWaiting, error) {
	if _, err := os.Stat(folder); err != nil {
		return nil, err
	}
	notes, err := Tokens(folder)
	if err != nil {
		return nil, err
	}
	var list []SiteWaiting
	at := map[string]int{}
	for _, note := range notes {
		if i, again := at[note.Site]; again {
			list[i].Tokens++
			continue
		}
		id, err := strconv.ParseUint(note.Site, 16, 32)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", tokensPath(folder), err)
		}
		waiting := SiteWaiting{Site: note.Site, Label: note.Label, Tokens: 1}
		shelf := store{folder: folder}
		parcels, err := shelf.list(uint32(id))
		if err != nil {
			return nil, err
		}
		for _, p := range parcels {
			waiting.Parcels++
			waiting.Bytes += p.bytes
		}
		at[note.Site] = len(list)
		list = append(list, waiting)
	}
	return list, nil
}

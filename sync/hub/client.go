package hub

import (
	"context"
	"crypto/tls"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"pulk/sync/carrier"
)

// Client carries parcels over a hub. Its methods go on where a cut connection
// ended: uploads where the hub says, downloads where the part in Partial ends.
type Client struct {
	base    *url.URL
	token   string
	http    *http.Client
	partial string
	pause   time.Duration // before the second try; doubled for each further one

	mu     sync.Mutex
	listed map[string]listedParcel // by the name that List gave
	most   int64
}

// tries is how often a request is made that brings nothing more.
const tries = 5

// partBytes is how much goes in one request, so that gateways between have an
// answer to see now and then.
const partBytes = 256 << 10

// NewClient returns a client of the hub at an address. pin, if any, is the SHA-256
// of its certificate's key in hex, and is then all that is asked of it. partial is a
// folder for what has come of parcels, so that another run can go on; it is made
// when it is needed.
func NewClient(address, token, pin, partial string) (*Client, error) {
	base, err := url.Parse(strings.TrimSuffix(address, "/"))
	if err != nil {
		return nil, err
	}
	if base.Scheme != "https" && !(base.Scheme == "http" && isLoopback(base.Hostname())) {
		return nil, errors.New("the token would go over the net for all to read: write https://")
	}
	config := &tls.Config{MinVersion: tls.VersionTLS12}
	if pin != "" {
		if want, err := hex.DecodeString(pin); err != nil || len(want) != 32 {
			return nil, errors.New("a pin is 64 hexadecimal digits, as pulk hub serve prints them")
		}
		config.InsecureSkipVerify = true // the pin takes the place of names and authorities
		config.VerifyConnection = func(state tls.ConnectionState) error {
			if got := pinOf(state.PeerCertificates[0]); !strings.EqualFold(got, pin) {
				return &pinError{got}
			}
			return nil
		}
	}
	transport := &http.Transport{
		Proxy: http.ProxyFromEnvironment, TLSClientConfig: config, TLSHandshakeTimeout: 2 * time.Minute,
		DialContext:           (&net.Dialer{Timeout: time.Minute, KeepAlive: 30 * time.Second}).DialContext,
		ResponseHeaderTimeout: 3 * time.Minute, MaxIdleConnsPerHost: 2, DisableCompression: true,
	}
	return &Client{base: base, token: token, http: &http.Client{Transport: transport}, partial: partial, pause: time.Second, listed: map[string]listedParcel{}}, nil
}

// pinError says that whoever answers is not the hub that was meant.
type pinError struct{ got string }

func (e *pinError) Error() string {
	return "the hub's key has the pin " + e.got + ", and not the one given: it is another hub, or somebody between"
}

// isHopeless reports whether another try would end like this one.
func isHopeless(err error) bool {
	var pin *pinError
	var certificate *tls.CertificateVerificationError
	return errors.As(err, &pin) || errors.As(err, &certificate)
}

func isLoopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// AnswerError is an answer of a hub that is not what was asked for.
type AnswerError struct {
	Status int
	What   string
	Hint   string
}

func (e *AnswerError) Error() string {
	return fmt.Sprintf("the hub answers %d: %s; %s", e.Status, e.What, e.Hint)
}

// do makes a request, until it is answered by more than the wish to wait.
func (c *Client) do(ctx context.Context, method, path string, header map[string]string, body func() io.Reader) (*http.Response, error) {
	pause := c.pause
	for try := 1; ; try++ {
		response, err := c.once(ctx, method, path, header, body)
		if err == nil && response.StatusCode < 400 {
			return response, nil
		}
		wait := pause
		if err == nil {
			busy := response.StatusCode == http.StatusTooManyRequests || response.StatusCode == http.StatusServiceUnavailable
			seconds, none := strconv.Atoi(response.Header.Get("Retry-After"))
			if busy && none == nil {
				wait = time.Duration(min(seconds, 300)) * time.Second
			}
			if err = answerOf(response); !busy {
				return response, err
			}
		}
		if try == tries || ctx.Err() != nil || isHopeless(err) {
			return nil, err
		}
		if err := sleep(ctx, wait); err != nil {
			return nil, err
		}
		pause *= 2
	}
}

func (c *Client) once(ctx context.Context, method, path string, header map[string]string, body func() io.Reader) (*http.Response, error) {
	var content io.Reader
	if body != nil {
		content = body()
	}
	request, err := http.NewRequestWithContext(ctx, method, c.base.String()+path, content)
	if err != nil {
		return nil, err
	}
	request.Header.Set("Authorization", "Bearer "+c.token)
	request.Header.Set("User-Agent", "pulk")
	for name, value := range header {
		request.Header.Set(name, value)
	}
	return c.http.Do(request)
}

// answerOf reads and closes an answer that is a failure.
func answerOf(response *http.Response) error {
	defer response.Body.Close()
	var f failure
	data, err := io.ReadAll(io.LimitReader(response.Body, 64<<10))
	if err != nil || json.Unmarshal(data, &f) != nil || f.Error == "" {
		f = failure{http.StatusText(response.StatusCode), "is there a pulk hub at this address?"}
	}
	return &AnswerError{response.StatusCode, f.Error, f.Hint}
}

func sleep(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func isStatus(err error, statuses ...int) bool {
	var answer *AnswerError
	if !errors.As(err, &answer) {
		return false
	}
	for _, status := range statuses {
		if answer.Status == status {
			return true
		}
	}
	return false
}

// List returns the names of the parcels that wait for a site, the oldest first. The
// hub lists only those for the token's own site.
func (c *Client) List(ctx context.Context, site uint32) ([]string, error) {
	l, err := c.listing(ctx)
	if err != nil {
		return nil, err
	}
	names, err := l.names(site)
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.most = l.MaxParcelBytes
	var list []string
	for i, p := range l.Parcels {
		if other, both := c.listed[names[i]]; !both || other.Name == p.Name {
			list = append(list, names[i])
			c.listed[names[i]] = p
		}
	}
	return list, nil
}

// names returns what the parcels of a listing go by that is for the given site, or an
// error where a hub would not list so.
func (l *listing) names(site uint32) ([]string, error) {
	if want := fmt.Sprintf("%08x", site); l.Site != want {
		return nil, fmt.Errorf("the token is that of site %s, and this is %s", l.Site, want)
	}
	var names []string
	for _, p := range l.Parcels {
		if !namePattern.MatchString(p.Name) || p.Bytes < 0 {
			return nil, fmt.Errorf("the hub lists a parcel that cannot be: %.100q", p.Name)
		}
		parts := strings.Split(p.Name, "-")
		names = append(names, fmt.Sprintf("%s-%s-%s-%s.parcel", parts[0], l.Site, parts[1], parts[2][:12]))
	}
	return names, nil
}

// maxListing bounds what is read of a listing.
const maxListing = 4 << 20

func (c *Client) listing(ctx context.Context) (listing, error) {
	response, err := c.do(ctx, http.MethodGet, "/v1/parcels", nil, nil)
	if err != nil {
		return listing{}, err
	}
	defer response.Body.Close()
	return readListing(response.Body)
}

func readListing(r io.Reader) (l listing, err error) {
	if err := json.NewDecoder(io.LimitReader(r, maxListing)).Decode(&l); err != nil {
		return l, fmt.Errorf("the hub's listing cannot be read: %w", err)
	}
	return l, nil
}

// MaxParcelBytes returns what the hub said at the last List; 0 before.
func (c *Client) MaxParcelBytes() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return int(min(c.most, carrier.MaxFile))
}

// Sender returns the site that left a listed parcel, as the hub says.
func (c *Client) Sender(name string) (uint32, bool) {
	parsed, ok := carrier.ParseName(name)
	return parsed.From, ok
}

// Reaches reports whether a site uses this hub.
func (c *Client) Reaches(ctx context.Context, site uint32) (bool, error) {
	response, err := c.do(ctx, http.MethodHead, fmt.Sprintf("/v1/to/%08x", site), nil, nil)
	if isStatus(err, http.StatusNotFound) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	return true, response.Body.Close()
}

func (c *Client) entry(name string) (listedParcel, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	p, ok := c.listed[name]
	if !ok {
		return p, fmt.Errorf("%s is not listed at the hub", name)
	}
	return p, nil
}

func digestIn(p listedParcel) string { return p.Name[len(p.Name)-64:] }

func (c *Client) partialPath(p listedParcel) string {
	return filepath.Join(c.partial, digestIn(p)+".part")
}

// Read fetches a listed parcel, from where an earlier try ended.
func (c *Client) Read(ctx context.Context, name string) ([]byte, error) {
	p, err := c.entry(name)
	if err != nil {
		return nil, err
	}
	if p.Bytes > carrier.MaxFile {
		return nil, fmt.Errorf("it has %d bytes, and at most %d are taken", p.Bytes, carrier.MaxFile)
	}
	if err := os.MkdirAll(c.partial, 0o700); err != nil {
		return nil, err
	}
	for stuck, pause := 0, c.pause; ; stuck++ {
		before, _, err := size(c.partialPath(p))
		if err != nil {
			return nil, err
		}
		if before < p.Bytes || before == 0 {
			err = c.fetch(ctx, p, before)
		}
		after, _, statErr := size(c.partialPath(p))
		if statErr != nil {
			return nil, statErr
		}
		if err == nil && after >= p.Bytes {
			return c.whole(p)
		}
		if after > before {
			stuck, pause = 0, c.pause
		}
		answer := (*AnswerError)(nil)
		if errors.As(err, &answer) {
			return nil, err
		}
		if stuck+1 >= tries || sleep(ctx, pause) != nil {
			return nil, fmt.Errorf("%d of %d bytes have come and are kept; run it again to go on: %w", after, p.Bytes, errors.Join(ctx.Err(), err))
		}
		pause *= 2
	}
}

// fetch appends what comes of a parcel, from an offset on, to its part.
func (c *Client) fetch(ctx context.Context, p listedParcel, offset int64) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	response, err := c.do(ctx, http.MethodGet, "/v1/parcels/"+p.Name, map[string]string{"Range": fmt.Sprintf("bytes=%d-", offset)}, nil)
	if err != nil {
		return err
	}
	defer response.Body.Close()
	flags := os.O_CREATE | os.O_WRONLY | os.O_APPEND
	if response.StatusCode != http.StatusPartialContent {
		flags = os.O_CREATE | os.O_WRONLY | os.O_TRUNC // somebody between knows no ranges: all of it comes
		offset = 0
	} else if !strings.HasPrefix(response.Header.Get("Content-Range"), fmt.Sprintf("bytes %d-", offset)) {
		return fmt.Errorf("asked for bytes from %d on, got %q", offset, response.Header.Get("Content-Range"))
	}
	file, err := os.OpenFile(c.partialPath(p), flags, 0o600)
	if err != nil {
		return err
	}
	quiet := time.AfterFunc(quietLimit, cancel)
	defer quiet.Stop()
	_, err = io.Copy(file, &watched{io.LimitReader(response.Body, p.Bytes-offset), quiet})
	return errors.Join(err, file.Sync(), file.Close())
}

// quietLimit is how long a connection may bring nothing before it is given up.
const quietLimit = 3 * time.Minute

// watched puts a timer off whenever something comes.
type watched struct {
	io.Reader
	timer *time.Timer
}

func (w *watched) Read(p []byte) (int, error) {
	n, err := w.Reader.Read(p)
	w.timer.Reset(quietLimit)
	return n, err
}

// whole returns a parcel all of which has come, if it is the one that was listed.
func (c *Client) whole(p listedParcel) ([]byte, error) {
	data, err := carrier.ReadFile(c.partialPath(p))
	if err != nil {
		return nil, err
	}
	if got := hexDigest(data); got != digestIn(p) || int64(len(data)) != p.Bytes {
		err = fmt.Errorf("%d bytes came with the SHA-256 %.12s, and %d with %.12s were listed; run it again to fetch it anew", len(data), got, p.Bytes, digestIn(p))
		return nil, errors.Join(err, os.Remove(c.partialPath(p)))
	}
	return data, nil
}

// Done tells the hub that a parcel is safe here, so that it need not keep it.
func (c *Client) Done(ctx context.Context, name string) error {
	p, err := c.entry(name)
	if err != nil {
		return err
	}
	response, err := c.do(ctx, http.MethodDelete, "/v1/parcels/"+p.Name, nil, nil)
	if err == nil {
		err = response.Body.Close()
	}
	if isStatus(err, http.StatusNotFound, http.StatusGone) { // the answer to an earlier try was lost
		err = nil
	}
	if err != nil {
		return err
	}
	_, err = os.Stat(c.partialPath(p))
	if err == nil {
		err = os.Remove(c.partialPath(p))
	}
	os.Remove(c.partial) // stays while something is in it
	if errors.Is(err, os.ErrNotExist) {
		err = nil
	}
	return err
}

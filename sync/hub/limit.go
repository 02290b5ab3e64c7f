package hub

import (
	"net"
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// limiter holds each token and each address to a number of requests a second.
type limiter struct {
	mu        *sync.Mutex
	perSecond rate.Limit
	burst     int
	tokens    map[[32]byte]*rate.Limiter
	addresses map[string]*rate.Limiter
}

// maxLimited bounds how many addresses are remembered. Beyond it all are forgotten
// at once, which lets each have one more burst.
const maxLimited = 20_000

func newLimiter(perSecond float64, burst int) limiter {
	return limiter{mu: &sync.Mutex{}, perSecond: rate.Limit(perSecond), burst: burst, tokens: map[[32]byte]*rate.Limiter{}, addresses: map[string]*rate.Limiter{}}
}

// address returns how long an address must wait before its next request, which
// counts as cost requests; 0: it need not.
func (l *limiter) address(host string, cost int, now time.Time) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.addresses) >= maxLimited {
		clear(l.addresses)
	}
	return spend(l.addresses, host, 2*l.perSecond, 2*l.burst, cost, now)
}

// token is the same for a token.
func (l *limiter) token(digest [32]byte, now time.Time) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	return spend(l.tokens, digest, l.perSecond, l.burst, 1, now) // as many as there are tokens: only real ones come here
}

func spend[K comparable](of map[K]*rate.Limiter, key K, perSecond rate.Limit, burst, cost int, now time.Time) time.Duration {
	limit := of[key]
	if limit == nil {
		limit = rate.NewLimiter(perSecond, burst)
		of[key] = limit
	}
	if limit.AllowN(now, cost) {
		return 0
	}
	return time.Duration(float64(cost) / float64(perSecond) * float64(time.Second))
}

// hostOf returns who a connection is from: the address, of IPv6 the network of 64
// bits, as whoever has one address of it has them all.
func hostOf(remote string) string {
	host, _, err := net.SplitHostPort(remote)
	if err != nil {
		return remote
	}
	address, err := netip.ParseAddr(host)
	if err != nil || address.Unmap().Is4() {
		return host
	}
	network, err := address.WithZone("").Prefix(64)
	if err != nil {
		return host
	}
	return network.String()
}

// guarded lets each address have only so many connections at once.
type guarded struct {
	net.Listener
	most int
	mu   sync.Mutex
	open map[string]int
}

func (g *guarded) Accept() (net.Conn, error) {
	for {
		conn, err := g.Listener.Accept()
		if err != nil {
			return nil, err
		}
		host := hostOf(conn.RemoteAddr().String())
		g.mu.Lock()
		full := g.open[host] >= g.most
		if !full {
			g.open[host]++
		}
		g.mu.Unlock()
		if !full {
			return &guardedConn{Conn: conn, close: func() { g.leave(host) }}, nil
		}
		conn.Close()
	}
}

func (g *guarded) leave(host string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.open[host]--; g.open[host] <= 0 {
		delete(g.open, host)
	}
}

type guardedConn struct {
	net.Conn
	once  sync.Once
	close func()
}

func (c *guardedConn) Close() error {
	c.once.Do(c.close)
	return c.Conn.Close()
}

package line

import (
	"errors"
	"net"
	"sync"
)

// HeaderBytes is what UDP over IPv4 adds to each datagram.
const HeaderBytes = 28

// Bounds of the content of a datagram. The largest is what Ethernet carries whole.
const (
	DatagramMin = 64
	DatagramMax = 1500 - HeaderBytes
)

// UDP is a [Socket] of one other side. Where its address is not given, whoever sent
// the latest datagram is answered: a station behind a gateway may change its address
// at every pass. What a datagram may do is decided by signatures, not by addresses.
type UDP struct {
	conn  *net.UDPConn
	learn bool
	mu    sync.Mutex
	far   *net.UDPAddr
}

// errNobody says that nobody has been heard yet who could be answered.
var errNobody = errors.New("the address of the other side is not known yet")

// ListenUDP opens a socket at a local address, ":0" for any, towards a far one, ""
// where that is to be learnt.
func ListenUDP(local, far string) (*UDP, error) {
	at, err := net.ResolveUDPAddr("udp", local)
	if err != nil {
		return nil, err
	}
	u := &UDP{learn: far == ""}
	if far != "" {
		if u.far, err = net.ResolveUDPAddr("udp", far); err != nil {
			return nil, err
		}
	}
	u.conn, err = net.ListenUDP("udp", at)
	return u, err
}

// Local returns the address at which the socket listens.
func (u *UDP) Local() net.Addr { return u.conn.LocalAddr() }

// Close closes the socket.
func (u *UDP) Close() error { return u.conn.Close() }

// Send sends a datagram.
func (u *UDP) Send(datagram []byte) error {
	u.mu.Lock()
	far := u.far
	u.mu.Unlock()
	if far == nil {
		return errNobody
	}
	_, err := u.conn.WriteToUDP(datagram, far)
	return err
}

// Receive waits for a datagram.
func (u *UDP) Receive() ([]byte, error) {
	buffer := make([]byte, 65536)
	for {
		n, from, err := u.conn.ReadFromUDP(buffer)
		if errors.Is(err, net.ErrClosed) {
			return nil, err
		}
		if err != nil || n == 0 {
			continue // word that an earlier datagram did not arrive
		}
		if u.learn {
			u.mu.Lock()
			u.far = from
			u.mu.Unlock()
		}
		return append([]byte(nil), buffer[:n]...), nil
	}
}

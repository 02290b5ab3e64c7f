package hub

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"log"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/net/netutil"

	"pulk/sync/carrier"
)

// Bounds of a server.
const (
	maxConnections           = 500
	maxConnectionsPerAddress = 20
	shutdownGrace            = 20 * time.Second
	sweepEvery               = time.Hour
)

// Serve answers requests on a listener until ctx ends; then it takes no new ones
// and lets those that run end, for a while: uploads go on at the next start where
// they were. config is nil for plain HTTP.
func (h *Hub) Serve(ctx context.Context, listener net.Listener, config *tls.Config) error {
	listener = netutil.LimitListener(&guarded{Listener: listener, most: maxConnectionsPerAddress, open: map[string]int{}}, maxConnections)
	if config != nil {
		listener = tls.NewListener(listener, config)
	}
	protocols := &http.Protocols{}
	protocols.SetHTTP1(true) // the paces need a connection for each request
	server := &http.Server{
		Handler: h, Protocols: protocols,
		ReadHeaderTimeout: 30 * time.Second, ReadTimeout: time.Minute, // uploads lift the second
		IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
		ErrorLog: log.New(Sayer(h.options.Say), "", 0),
	}
	sweeping, stop := context.WithCancel(ctx)
	defer stop()
	go h.sweep(sweeping)
	return ServeUntil(ctx, server, listener)
}

// ServeUntil answers on a listener until ctx ends, and then gives what is under way a
// moment to finish.
func ServeUntil(ctx context.Context, server *http.Server, listener net.Listener) error {
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(listener) }()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownGrace)
	defer cancel()
	if err := server.Shutdown(grace); err != nil {
		server.Close() // what was taken is on disk, and what was not comes again
	}
	if err := <-ended; !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// Sayer lets a server's own complaints be told as all others.
type Sayer func(string)

func (s Sayer) Write(line []byte) (int, error) {
	s(string(line))
	return len(line), nil
}

// sweep throws away what has expired, now and then.
func (h *Hub) sweep(ctx context.Context) {
	for {
		thrown, err := h.store.sweep(h.options.Now(), h.options.Expire)
		if err != nil {
			h.options.Say(fmt.Sprintf("looking for what has expired: %v", err))
		}
		for _, g := range thrown {
			h.options.Say(fmt.Sprintf("threw away %s for %s, %d bytes: %s", g.Name, g.To, g.Bytes, g.Reason))
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(sweepEvery):
		}
	}
}

// Certificate returns how a hub proves itself by the files that hold its
// certificate and key (PEM).
func Certificate(certPath, keyPath string) (*tls.Config, error) {
	pair, err := tls.LoadX509KeyPair(certPath, keyPath)
	if err != nil {
		return nil, err
	}
	return &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}}, nil
}

// SelfSigned returns how a hub proves itself where no authority vouches for it: by
// a certificate that it makes once and keeps in its folder. Sites know it by the
// pin, which lies beside it and which somebody tells them.
func SelfSigned(folder string, now time.Time) (config *tls.Config, pin string, err error) {
	certPath, keyPath := filepath.Join(folder, "hub.crt"), filepath.Join(folder, "hub.key")
	if _, err := os.Stat(certPath); errors.Is(err, fs.ErrNotExist) {
		if err := makeCertificate(certPath, keyPath, now); err != nil {
			return nil, "", err
		}
	}
	if config, err = Certificate(certPath, keyPath); err != nil {
		return nil, "", err
	}
	leaf, err := x509.ParseCertificate(config.Certificates[0].Certificate[0])
	if err != nil {
		return nil, "", err
	}
	pin = pinOf(leaf)
	return config, pin, carrier.WriteFile(filepath.Join(folder, "pin"), []byte(pin+"\n"))
}

// pinOf returns the SHA-256 of a certificate's public key, in hex, which stays when
// the certificate is renewed.
func pinOf(leaf *x509.Certificate) string {
	return fmt.Sprintf("%x", sha256.Sum256(leaf.RawSubjectPublicKeyInfo))
}

func makeCertificate(certPath, keyPath string, now time.Time) error {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(now.Unix()), Subject: pkix.Name{CommonName: "pulk hub"}, DNSNames: []string{"pulk-hub"},
		NotBefore: now.Add(-24 * time.Hour), NotAfter: now.AddDate(20, 0, 0),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		return err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	keyPEM := pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})
	if err := os.WriteFile(keyPath, keyPEM, 0o600); err != nil {
		return err
	}
	return carrier.WriteFile(certPath, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}))
}

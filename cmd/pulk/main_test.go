package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"io"
	mathrand "math/rand/v2"
	"os"
	"os/signal"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain lets this test binary be the program itself, under the name pulk, for
// scripts and for the examples in the documents.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"pulk": playPulk})
}

// What the environment tells the program under test.
const (
	envNow   = "PULK_TEST_NOW"   // RFC 3339: when the command begins
	envSeed  = "PULK_TEST_SEED"  // what keys and nonces follow from, with the arguments
	envTypes = "PULK_TEST_TYPES" // file with what is typed at a terminal, a line each
)

// playPulk is main with a clock, a randomness and a terminal that a test hands in.
// Where it hands in none of them, they are the world's. Its keys open fast, as thousands
// are opened; tests that build the program have those of users.
func playPulk() {
	e := &env{stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr, now: time.Now, rand: rand.Reader, getenv: os.Getenv, local: time.UTC, openKeys: true}
	if e.findKeyboard(); e.keyboard != nil {
		e.size = terminalSize
	}
	if text := os.Getenv(envNow); text != "" {
		now, err := time.Parse(time.RFC3339, text)
		if err != nil {
			panic(err)
		}
		var mu sync.Mutex // a hub asks from several requests at once
		e.now = func() time.Time {
			mu.Lock()
			defer mu.Unlock()
			now = now.Add(time.Second)
			return now
		}
	}
	if seed := os.Getenv(envSeed); seed != "" {
		e.rand = mathrand.NewChaCha8(sha256.Sum256([]byte(seed + strings.Join(os.Args, "\x00"))))
	}
	if path := os.Getenv(envTypes); path != "" {
		typed, err := os.ReadFile(path)
		if err != nil {
			panic(err)
		}
		e.stdin, e.terminal = &typist{typed: bytes.SplitAfter(typed, []byte("\n")), screen: os.Stdout}, true
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	code := invoke(ctx, os.Args, e)
	stop()
	os.Exit(code)
}

// typist types a line whenever the program asks for one. As at a terminal the line
// is seen on the screen, save for a passphrase, which is marked with a star.
type typist struct {
	typed  [][]byte
	screen io.Writer
}

func (t *typist) Read(p []byte) (int, error) {
	if len(t.typed) == 0 || len(t.typed[0]) == 0 {
		return 0, io.EOF
	}
	line, hidden := bytes.CutPrefix(t.typed[0], []byte("*"))
	t.typed = t.typed[1:]
	if !hidden {
		if _, err := t.screen.Write(line); err != nil {
			return 0, err
		}
	}
	return copy(p, line), nil
}

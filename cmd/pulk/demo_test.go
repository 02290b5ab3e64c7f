package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// The demo plays to its end, tells what the issue of it is, and leaves stores that
// agree.
func TestDemo(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "demo")
	var out, talk bytes.Buffer
	code := invoke(context.Background(), []string{"pulk", "demo", "--folder", folder}, &env{stdin: strings.NewReader(""), stdout: &out, stderr: &talk,
		now: time.Now, rand: rand.Reader, getenv: func(string) string { return "" }, local: time.UTC})
	if code != 0 {
		t.Fatalf("exit %d, %s\n%s", code, talk.String(), out.String())
	}
	for _, want := range []string{
		"OUTSIDE its limits", "the bundle cannot be read", "taken before; nothing changed", "a sign-off was overtaken", "pulk: refused: step 410",
		"step 410: done", "was given 2 values", "settled:", "Kit for", "played winters", "is better (proven)", "<- sent", "Everything is in.", "day report of",
		"is recorded already in step m1-serial", "M-27-1 is under way", "short: 2 each of CON-011 lot L2710; left under way", "UN 3480", "8 of 8, none is empty; 0 not as planned",
	} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("the story does not tell %q", want)
		}
	}
	digests := regexp.MustCompile(`change-sets in .* state digest ([0-9a-f]{16})`).FindAllStringSubmatch(out.String(), -1)
	if len(digests) != 3 || digests[0][1] != digests[1][1] || digests[0][1] != digests[2][1] {
		t.Errorf("the stores do not agree: %v", digests)
	}
	for _, name := range []string{"home.db", "stn.db", "ship.db", "day.html", "day.txt", "kit.csv", "odds.svg", "load.pdf", "places.csv", "manifest.pdf", "manifest.xlsx", "labels.pdf", "papers/legs.csv"} {
		if info, err := os.Stat(filepath.Join(folder, name)); err != nil || info.Size() == 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
	again := invoke(context.Background(), []string{"pulk", "demo", "--folder", folder}, &env{stdout: &out, stderr: &talk, now: time.Now, rand: rand.Reader, getenv: os.Getenv, local: time.UTC})
	if again != exitUsage {
		t.Errorf("a second demo in the same folder ended with %d; want %d", again, exitUsage)
	}
}

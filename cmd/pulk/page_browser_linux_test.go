package main

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// pageServer is pulk run page, behind a network that can drop.
type pageServer struct {
	hut     *hut
	run     string
	flags   []string
	front   *httptest.Server // what the tablet reaches
	command *exec.Cmd
	target  atomic.Pointer[url.URL]
	lose    atomic.Int32 // so many answers to taps get lost on the way back
	blind   atomic.Int32 // so many looks at the run do
}

func newPageServer(h *hut) *pageServer {
	s := &pageServer{hut: h, run: hutRun}
	cut := func(w http.ResponseWriter) {
		if conn, _, err := http.NewResponseController(w).Hijack(); err == nil {
			conn.Close()
		}
	}
	proxy := &httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) {
			r.SetURL(s.target.Load())
			r.Out.Host = r.In.Host
		},
		ErrorHandler: func(w http.ResponseWriter, _ *http.Request, _ error) { cut(w) },
	}
	s.front = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/tap" && s.lose.Add(-1) >= 0 || r.URL.Path == "/look" && s.blind.Add(-1) >= 0 {
			proxy.ServeHTTP(httptest.NewRecorder(), r)
			cut(w)
			return
		}
		proxy.ServeHTTP(w, r)
	}))
	h.t.Cleanup(s.front.Close)
	h.t.Cleanup(s.stop)
	return s
}

// start starts the program, at a time.
func (s *pageServer) start(now string) {
	s.hut.t.Helper()
	s.lose.Store(0)
	s.blind.Store(0)
	file := filepath.Join(s.hut.t.TempDir(), "address")
	args := append([]string{"run", "page", "--listen", "127.0.0.1:0", "--address-file", file}, s.flags...)
	if s.run != "" {
		args = append(args, s.run)
	}
	s.command = s.hut.command(now, args...)
	s.command.Stderr = os.Stderr
	if err := s.command.Start(); err != nil {
		s.hut.t.Fatal(err)
	}
	for range 500 {
		if text, err := os.ReadFile(file); err == nil && strings.HasSuffix(string(text), "\n") {
			target, err := url.Parse(strings.TrimSpace(string(text)))
			if err != nil {
				s.hut.t.Fatal(err)
			}
			s.target.Store(target)
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	s.hut.t.Fatal("the page does not start")
}

// stop kills it, as when the power goes.
func (s *pageServer) stop() {
	if s.command != nil {
		s.command.Process.Kill()
		s.command.Wait()
		s.command = nil
	}
}

// tablet is a browser with a touch screen.
type tablet struct {
	t     *testing.T
	ctx   context.Context
	scans bool // the last instrument was scanned
}

func newTablet(t *testing.T, address string) *tablet {
	t.Helper()
	binary, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("there is no chromium here; apt-get install chromium, and this test taps through the page")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(binary), chromedp.UserDataDir(t.TempDir()),
		chromedp.NoSandbox, chromedp.DisableGPU, chromedp.IgnoreCertErrors, chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true), chromedp.Flag("touch-events", "enabled"))
	allocated, cancel := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(cancel)
	browser, cancel := chromedp.NewContext(allocated)
	t.Cleanup(cancel)
	if err := chromedp.Do(browser, chromedp.EmulateViewport(800, 1280, chromedp.EmulateTouch, chromedp.EmulateMobile)); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(browser, 4*time.Minute)
	t.Cleanup(cancel)
	b := &tablet{t: t, ctx: ctx}
	b.do(chromedp.Navigate(address))
	return b
}

func (b *tablet) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, actions...); err != nil {
		b.t.Fatalf("%v\nthe page shows:\n%s", err, b.text())
	}
}

// asks evaluates JavaScript in the page.
func asks[T any](b *tablet, script string) T {
	b.t.Helper()
	value, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](script))
	if err != nil {
		b.t.Fatalf("%v\n%s\nthe page shows:\n%s", err, script, b.text())
	}
	return value
}

func (b *tablet) text() string {
	text, err := chromedp.Run(b.ctx, chromedp.Evaluate[string]("document.body.innerText"))
	if err != nil {
		return err.Error()
	}
	return text
}

// sees waits until all of the texts stand on the page.
func (b *tablet) sees(texts ...string) {
	b.t.Helper()
	missing := ""
	for deadline := time.Now().Add(30 * time.Second); time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		text := b.text()
		missing = ""
		for _, want := range texts {
			if !strings.Contains(text, want) {
				missing = want
			}
		}
		if missing == "" {
			if strings.Contains(text, "Something is wrong in this page") {
				b.t.Errorf("the page has a fault:\n%s", text)
			}
			b.checkTargets()
			return
		}
	}
	b.t.Fatalf("the page does not show %q:\n%s", missing, b.text())
}

// checkTargets holds all that can be touched to the size of a gloved finger.
func (b *tablet) checkTargets() {
	b.t.Helper()
	small := asks[[]string](b, `[...document.querySelectorAll('button, input, textarea')].filter((e) => { const r = e.getBoundingClientRect(); return r.width < 60 || r.height < 60 || r.right > innerWidth; })
		.map((e) => e.tagName + ' ' + e.textContent)`)
	if len(small) > 0 {
		b.t.Errorf("too small for a glove, or off the side: %q", small)
	}
}

// taps touches, one after the other, what the texts or selectors name: a button by
// how its text begins, or anything by "#id" or "[attribute]". It leaves the pause
// that the page asks for.
func (b *tablet) taps(names ...string) {
	b.t.Helper()
	for _, name := range names {
		time.Sleep(settle + 50*time.Millisecond)
		b.quickly(name)
	}
}

// quickly touches without a pause, as fingers do on a number pad.
func (b *tablet) quickly(name string) {
	b.t.Helper()
	find := fmt.Sprintf("[...document.querySelectorAll('button')].find((e) => !e.disabled && e.innerText.startsWith(%q))", name)
	if strings.ContainsAny(name[:1], "#[") {
		find = fmt.Sprintf("document.querySelector(%q)", name)
	}
	var at []float64
	for deadline := time.Now().Add(20 * time.Second); at == nil && time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		at = asks[[]float64](b, `(() => { const e = `+find+`; if (!e || e.disabled) return null; e.scrollIntoView({block: 'center'}); const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; })()`)
	}
	if at == nil {
		b.t.Fatalf("there is nothing to tap called %q:\n%s", name, b.text())
	}
	b.do(chromedp.TapXY(at[0], at[1]))
}

// types types into a field that it taps first.
func (b *tablet) types(field, text string) {
	b.t.Helper()
	b.taps(field)
	b.do(chromedp.KeyEvent(text))
}

func (b *tablet) enters(person, words string) {
	b.t.Helper()
	b.do(chromedp.SetValue(chromedp.CSS("#person"), person))
	b.types("#passphrase", words)
	b.taps("#enter")
}

// picture keeps what the page looks like: go test -artifacts leaves it.
func (b *tablet) picture(name string) {
	b.t.Helper()
	png, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(b.t.ArtifactDir(), name+".png"), png, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// TestPageInBrowser taps a run through on a tablet: nothing is told before the
// passphrase, the network drops in the middle, the program is killed and started
// again, answers get lost, somebody else is faster, two people sign. Nothing is lost
// or doubled.
func TestPageInBrowser(t *testing.T) {
	t.Parallel()
	if _, err := exec.LookPath("chromium"); err != nil {
		t.Skip("there is no chromium here; apt-get install chromium, and this test taps through the page")
	}
	h := newHut(t)
	s := newPageServer(h)
	s.start("2027-01-05T08:00:00Z")
	b := newTablet(t, s.front.URL)
	b.sees("Who is here?")
	if text := b.text(); strings.Contains(text, "hub") || strings.Contains(text, hutRun) {
		t.Errorf("the page tells strangers %q", text)
	}
	b.enters("ida", "not the words")
	b.sees("the code or the passphrase is wrong")
	b.picture("1-enter")
	b.enters("ida", hutWords[0])
	b.sees("380 V direct current", "I have read this")
	b.picture("2-hazards")
	b.taps("I have read this")
	b.sees("Step 10, 1 of 8", "Next: 20 (caution)")
	b.taps("Yes")
	b.sees("Step 20", "! CAUTION Keep one hand off the bar.", "I have read the caution")
	if text := b.text(); strings.Contains(text, "Enter\n") {
		t.Errorf("the step can be answered before its caution is read:\n%s", text)
	}
	b.picture("3-caution")
	b.taps("I have read the caution", "Enter", "[data-key='0']", "[data-key='.']", "[data-key='3']", "next value", "[data-key='0']", "[data-key='.']", "[data-key='3']", "[data-key='1']")
	b.sees("0.3 0.31")
	b.picture("4-numbers")
	b.do(chromedp.EmulateViewport(360, 640, chromedp.EmulateTouch, chromedp.EmulateMobile))
	b.checkTargets() // on a telephone, too
	b.picture("4-numbers-small")
	b.do(chromedp.EmulateViewport(800, 1280, chromedp.EmulateTouch, chromedp.EmulateMobile))

	s.stop()
	b.taps("Take it")
	b.sees("NO NETWORK: 1 to be sent", "reading at step 20 \"0.3 0.31\", ida", "Step 25")
	b.taps("Record")
	b.types("#text", "Mirre Aalto")
	b.taps("Take it")
	b.sees("NO NETWORK: 2 to be sent", "Step 27")
	b.taps("I have read the caution", "Start the clock")
	b.sees("Step 28")
	h.pulk("run", "check", hutRun, "28", "--as", "mirre") // is faster
	b.taps("Done")
	b.sees("NO NETWORK: 4 to be sent", "Step 30", "needs the network")
	b.picture("5-no-network")
	b.do(chromedp.Navigate("about:blank"))
	s.start("2027-01-05T08:20:00Z")
	b.do(chromedp.Navigate(s.front.URL)) // the taps outlive the page, too
	b.sees("Your passphrase again", "Kept here until the site has it")
	s.lose.Store(2) // what was taken is answered, but the answers do not come
	b.enters("ida", hutWords[0])
	b.sees("I have read this")
	b.taps("I have read this")
	b.sees("NOT DONE", "step 28 is done already", "Understood", "Step 30")
	b.picture("6-refused")
	b.taps("Understood")
	b.sees("mirre step 28: done", "Wait, step 27")
	b.taps("Undo", "[class='row undo']:nth-of-type(2)")
	b.sees("why it is not to be relied on", "Mirre Aalto")
	b.types("#text", "the wrong man")
	s.blind.Store(8) // the undo is taken, and how the run stands then comes late
	b.taps("Take it")
	b.sees("is voided; it stays on record", "Step 25")
	b.do(chromedp.KeyEvent("Tomas\r")) // a scanner, no field is open
	b.sees("recorded Tomas", "Step 30", "has 0")

	s.stop()
	s.start("2027-01-05T09:00:00Z")
	b.sees("Your passphrase again")
	b.enters("ida", hutWords[0])
	b.taps("Wait, step 27")
	b.sees("Step 27", "The time is over.")
	b.taps("I have read the caution", "The time is over")
	b.sees("Step 30", "27: done, the time is over")
	b.taps("Sign go")
	b.sees("Sign GO at hold point 30", "as ida")
	b.taps("Yes")
	b.sees("signed go", "has 1")
	b.taps("#people", "Another person")
	b.enters("mirre", hutWords[1])
	b.sees("I have read this")
	b.taps("I have read this", "Sign go")
	b.sees("as mirre")
	b.taps("Yes")
	b.sees("Step 40", "! THIS CANNOT BE UNDONE")
	b.taps("#people", "ida")
	b.sees("I have read the caution")
	b.picture("7-irreversible")
	b.taps("I have read the caution", "Done")
	b.sees("Are you sure?", "THIS CANNOT BE UNDONE: Done, step 40")
	b.picture("8-sure")
	b.taps("No")
	b.sees("Step 40")
	b.taps("Done", "Yes")
	b.sees("Step 50")
	h.checkRecord()
	b.taps("Done")
	b.sees("All 8 steps are done")
	b.taps("End the run", "Yes")
	b.sees("The run has ended.")
}

// TestPageOfAllRuns opens the page of a whole store, under a certificate of its own
// making: it offers the runs that are open, and goes from one to another.
func TestPageOfAllRuns(t *testing.T) {
	t.Parallel()
	if _, err := exec.LookPath("chromium"); err != nil {
		t.Skip("there is no chromium here; apt-get install chromium, and this test taps through the page")
	}
	h := newHut(t)
	h.pulk("run", "start", "hub", "--title", "The other hub", "--as", "ida")
	s := newPageServer(h)
	s.run, s.flags = "", []string{"--self-signed"}
	s.start("2027-01-05T08:00:00Z")
	b := newTablet(t, s.target.Load().String())
	b.sees("Who is here?")
	b.enters("ida", hutWords[0])
	b.sees("Which run?", "stn-8: The other hub, 0 of 8 done")
	b.taps("stn-8")
	b.sees("The other hub", "I have read this")
	b.taps("I have read this", "Yes")
	b.sees("Step 20", "run stn-8, hub A, 1 of 8 done")
	b.taps("#people", "Other run")
	b.sees("Which run?", "1 of 8 done")
	b.taps(hutRun)
	b.sees("Opening the surface hub", "I have read this")
	b.taps("#people", "#leave")
	b.sees("Who is here?")
	if text := b.text(); strings.Contains(text, "hub") {
		t.Errorf("after ida left the page shows %q", text)
	}
}

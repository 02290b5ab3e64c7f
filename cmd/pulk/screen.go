package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"pulk/checklist/crew"
	"pulk/schema/fault"
	"pulk/sync/changelog"
)

const (
	// screenTick is how often the time on the screen goes on.
	screenTick = time.Second
	// screenLook is how often it is looked at what others did: another process, or
	// a bundle that was taken.
	screenLook = 2 * time.Second
)

// fullScreen reports whether the terminal allows the whole screen to be used.
func (c *call) fullScreen() bool {
	kind := c.env.getenv("TERM")
	return c.env.keyboard != nil && c.env.size != nil && !c.Bool("line") && kind != "" && kind != "dumb"
}

// runScreen carries a run out on the whole screen. Each answer is a command of its
// own, on disk before the next step is shown.
func (c *call) runScreen() error {
	return c.withLog(func(log *changelog.Log) error {
		me, err := c.person(log, true)
		if err != nil {
			return err
		}
		w := &workPlace{call: c, log: log}
		scene, err := w.Look(c.Args().First(), me.Code)
		if err != nil {
			return err
		}
		columns, rows, _ := c.env.size()
		s := newSession(screenSize{columns, rows}, c.env.local)
		s.noSecret = c.env.getenv("PULK_PASSPHRASE_FILE") != ""
		s.show(scene, c.env.now())
		t, err := openTerminal(c.env)
		if err != nil {
			return err
		}
		if err := w.converseOn(t, s); err != nil {
			return err
		}
		c.printf("Left. Everything so far is saved.\n")
		return nil
	})
}

// converseOn is converse, with the terminal given back whatever happens.
func (w *workPlace) converseOn(t *terminal, s *session) (err error) {
	defer func() { err = errors.Join(err, t.close()) }()
	return w.converse(t, s)
}

// converse lets a person work until they leave, or the program is told to end.
func (w *workPlace) converse(t *terminal, s *session) error {
	keys := make(chan []key)
	go t.listen(keys)
	ticks := time.NewTicker(screenTick)
	defer ticks.Stop()
	looked := w.env.now()
	for {
		if err := t.draw(s.frame()); err != nil {
			return err
		}
		select {
		case <-w.Context.Context.Done():
			return nil
		case pressed, ok := <-keys:
			if !ok { // the terminal has gone
				return nil
			}
			for _, k := range pressed {
				e := s.press(k, w.env.now())
				if e != nil && e.leave {
					return nil
				}
				w.effect(t, s, e)
			}
		case <-ticks.C:
			if columns, rows, ok := w.env.size(); ok && (screenSize{columns, rows}) != s.size {
				s.size = screenSize{columns, rows}
				t.drawn = nil
			}
			if s.tick(w.env.now()) {
				t.ring()
			}
			if w.env.now().Sub(looked) < screenLook {
				continue
			}
			looked = w.env.now()
			scene, err := w.Look(s.scene.Run, s.scene.Person)
			if err != nil {
				s.sayFault(err)
				continue
			}
			s.show(scene, looked)
		}
	}
}

// effect does what a key asked for, and shows what became of it. A store that is
// busy, or a disk that is full, is told and does not end the work: nothing was done,
// and the person tries again or leaves.
func (w *workPlace) effect(t *terminal, s *session, e *effect) {
	switch {
	case e == nil:
		return
	case e.become != "":
		scene, err := w.Look(s.scene.Run, e.become)
		if err != nil {
			s.sayFault(err)
			return
		}
		s.known = nil
		s.show(scene, w.env.now())
		s.say(false, "now "+e.become+" answers")
		return
	}
	said, err := w.carryOutWithKey(t, s, e)
	scene, lookErr := w.Look(s.scene.Run, s.scene.Person)
	if lookErr != nil {
		s.sayFault(errors.Join(err, lookErr))
		return
	}
	s.answered(e, scene, said, err, w.env.now())
}

// sayFault shows what went wrong where nothing was to be done at a step.
func (s *session) sayFault(err error) {
	what, because, hint := tellFault(err)
	s.say(true, append([]string{what}, prefixed("- ", because)...)...)
	if hint != "" {
		s.told = append(s.told, "next: "+hint)
	}
}

// carryOutWithKey carries a tap out, and opens the key that it takes before.
func (w *workPlace) carryOutWithKey(t *terminal, s *session, e *effect) (string, error) {
	if !e.key {
		return w.CarryOut(s.scene.Run, e.as, *e.tap, nil)
	}
	if s.noSecret {
		secret, err := w.passphrase("", false) // from the file
		if err != nil {
			return "", err
		}
		e.secret = secret
	}
	s.say(false, "opening the key of "+e.as+" …")
	if err := t.draw(s.frame()); err != nil {
		return "", err
	}
	signer, err := w.unlockFor(e.as, e.secret)
	if errors.Is(err, crew.ErrPassphrase) {
		return "", fault.Refuse("nothing was signed; g or s asks for it again", "%s", err)
	}
	if err != nil {
		return "", err
	}
	said, err := w.CarryOut(s.scene.Run, e.as, *e.tap, signer)
	return said + " by " + e.as, err
}

// terminal is a terminal of which the whole screen is used. It needs what every
// terminal of the last decades can do: move, clear, bold and reverse (ECMA-48), and
// the second screen, which leaves the first one as it was.
type terminal struct {
	keyboard *os.File
	out      io.Writer
	before   *term.State
	drawn    []row // what stands on the screen; nil when that is not known
}

func openTerminal(e *env) (*terminal, error) {
	before, err := term.MakeRaw(int(e.keyboard.Fd()))
	if err != nil {
		return nil, err
	}
	t := &terminal{keyboard: e.keyboard, out: e.raw, before: before}
	_, err = io.WriteString(t.out, "\x1b[?1049h\x1b[?25l")
	return t, err
}

// close gives the terminal back as it was.
func (t *terminal) close() error {
	_, err := io.WriteString(t.out, "\x1b[0m\x1b[?25h\x1b[?1049l")
	return errors.Join(err, term.Restore(int(t.keyboard.Fd()), t.before))
}

func (t *terminal) ring() { io.WriteString(t.out, "\a") }

// draw puts the lines on the screen. Only those that differ are written, as the
// screen may be at the far end of a slow line.
func (t *terminal) draw(rows []row) error {
	var out strings.Builder
	if len(t.drawn) != len(rows) {
		out.WriteString("\x1b[0m\x1b[2J")
		t.drawn = make([]row, len(rows))
	}
	for i, r := range rows {
		if r == t.drawn[i] {
			continue
		}
		mode := [...]string{plain: "", bold: "\x1b[1m", reverse: "\x1b[7m"}[r.weight]
		fmt.Fprintf(&out, "\x1b[%d;1H\x1b[0m\x1b[2K%s%s\x1b[0m", i+1, mode, tameLine(r.text))
		t.drawn[i] = r
	}
	if out.Len() == 0 {
		return nil
	}
	_, err := io.WriteString(t.out, out.String())
	return err
}

// listen sends what is typed until the terminal goes.
func (t *terminal) listen(keys chan<- []key) {
	defer close(keys)
	for {
		burst, err := readBurst(t.keyboard)
		if err != nil {
			return
		}
		keys <- decodeKeys(burst)
	}
}

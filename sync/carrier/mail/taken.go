package mail

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"pulk/sync/carrier"
)

// memo is what a site remembers of the mails in a maildir: those with nothing more
// for it, which need no second look, and of the others which parcels it has taken,
// by their number in the mail. The flag S cannot say so: a person who
// opens a mail sets it too. It is kept in the maildir, in a file that mail systems
// pass over; without the file all mails are read again, which does no harm.
type memo struct {
	path  string
	taken map[string][]int // by the mail's key; empty: nothing more in it
}

const memoHead = "pulk 1: mails with nothing more for this site, and parcels taken from others"

func openMemo(m Maildir, site uint32) (*memo, error) {
	notes := &memo{path: filepath.Join(m.Path, fmt.Sprintf(".pulk-%08x", site)), taken: map[string][]int{}}
	data, err := os.ReadFile(notes.path)
	if errors.Is(err, fs.ErrNotExist) {
		return notes, nil
	}
	if err != nil {
		return nil, err
	}
	lines := bufio.NewScanner(bytes.NewReader(data))
	if !lines.Scan() || lines.Text() != memoHead {
		return notes, nil // of another version: read all mails again
	}
	for lines.Scan() {
		words := strings.Split(lines.Text(), "\t")
		numbers := []int{}
		for _, word := range words[1:] {
			if n, err := strconv.Atoi(word); err == nil {
				numbers = append(numbers, n)
			}
		}
		notes.taken[words[0]] = numbers
	}
	return notes, lines.Err()
}

// keep writes the memo, without mails that are no longer there.
func (n *memo) keep(there []stored) error {
	keys := map[string]bool{}
	for _, mail := range there {
		keys[mail.key] = true
	}
	var lines []string
	for key, numbers := range n.taken {
		if !keys[key] {
			continue
		}
		line := key
		for _, number := range numbers {
			line += "\t" + strconv.Itoa(number)
		}
		lines = append(lines, line+"\n")
	}
	slices.Sort(lines)
	return carrier.WriteFile(n.path, []byte(memoHead+"\n"+strings.Join(lines, "")))
}

// note remembers that a parcel was taken.
func (n *memo) note(key string, number int) {
	if !slices.Contains(n.taken[key], number) {
		n.taken[key] = append(n.taken[key], number)
	}
}

// finish remembers that a mail has nothing, or nothing more, for this site.
func (n *memo) finish(key string) { n.taken[key] = []int{} }

// isFinished reports whether that is remembered.
func (n *memo) isFinished(key string) bool {
	numbers, known := n.taken[key]
	return known && len(numbers) == 0
}

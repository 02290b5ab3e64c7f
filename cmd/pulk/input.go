package main

import (
	"errors"

	"pulk/schema/fault"
	"pulk/sync/carrier"
)

// maxInput is the most that is read of a file that a person wrote: a catalogue of
// 20,000 lines fits. More is never in memory, whatever the file is.
const maxInput = 8 << 20

// readInput reads a file that a person wrote.
func readInput(path string) ([]byte, error) { return readAtMost(path, maxInput) }

// readAtMost reads a file that a person wrote, and refuses one of more bytes.
func readAtMost(path string, most int) ([]byte, error) {
	data, err := carrier.ReadAtMost(path, most)
	if errors.Is(err, carrier.ErrTooLarge) {
		err = fault.Hint("is it the right file?", "%s: larger than %s, the most that is read", path, bytesText(int64(most)))
	}
	return data, err
}

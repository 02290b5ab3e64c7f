package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"pulk/inventory/kit"
	"pulk/schema/fault"
)

// plannedRuns returns how often each procedure is to be run until the latest delivery.
func (c *call) plannedRuns(request kit.Request) (map[string]int64, error) {
	planned := map[string]int64{}
	if path := c.String("planned"); path != "" {
		source, err := readAtMost(path, maxPlanned)
		if err != nil {
			return nil, err
		}
		if err := readPlanned(source, planned, request); err != nil {
			return nil, fault.Hint("a line for each procedure: its id, a comma, a whole number or a round as every 7d", "%s: %w", path, err)
		}
	}
	for _, text := range c.StringSlice("runs") {
		name, count, _ := strings.Cut(text, "=")
		n, ok := plannedCount(count, request)
		if !ok {
			return nil, fault.Misuse("like borehole-lowering=3, or generator-service=every7d", "--runs %q", text)
		}
		planned[name] += n
	}
	return planned, nil
}

// maxPlanned is the most that is read of a file of planned runs: some thousand lines.
const maxPlanned = 64 << 10

// plannedCount reads how often a procedure is run: a number, or a round as every 7d.
func plannedCount(text string, request kit.Request) (int64, bool) {
	if every, ok := strings.CutPrefix(text, "every"); ok {
		days, ok := strings.CutSuffix(strings.TrimSpace(every), "d")
		n, err := strconv.ParseFloat(strings.TrimSpace(days), 64)
		const least = 1.0 / 24
		return request.Rounds(n), ok && err == nil && n >= least && n <= 10_000
	}
	n, err := strconv.ParseInt(text, 10, 32)
	return n, err == nil && n >= 0
}

func readPlanned(source []byte, planned map[string]int64, request kit.Request) error {
	rows, err := csv.NewReader(bytes.NewReader(source)).ReadAll()
	if err != nil {
		return err
	}
	if len(rows) == 0 || len(rows[0]) != 2 || rows[0][0] != "procedure" || rows[0][1] != "runs" {
		return fmt.Errorf("line 1: expected procedure,runs")
	}
	for i, row := range rows[1:] {
		n, ok := plannedCount(row[1], request)
		if !ok {
			return fmt.Errorf("line %d: %q is no number of runs, and no round as every 7d", i+2, row[1])
		}
		planned[row[0]] += n
	}
	return nil
}

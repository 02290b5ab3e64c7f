package packing

import (
	"context"
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// fact is what is published of an instance. Source: testdata/checks/packing.
type fact struct {
	types, boxes     int
	container, total float64 // volumes
	best             float64 // the largest volume known to be packed; 0 where none is told
	containers       int     // no fewer can hold all, by volume; 0 where none is told
}

// readFacts reads the facts of a set, by the number of the problem.
func readFacts(t *testing.T, set string) map[int]fact {
	t.Helper()
	pattern := "br_best_known_*.csv"
	if set[:2] != "BR" {
		pattern = set + "_facts_*.csv"
	}
	names, err := filepath.Glob(filepath.Join(*folderFlag, pattern))
	if err != nil || len(names) == 0 {
		t.Fatalf("no facts of set %s in %s", set, *folderFlag)
	}
	file, err := os.Open(names[0])
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(row []string, column string) float64 {
		for i, name := range rows[0] {
			if name == column {
				n, err := strconv.ParseFloat(row[i], 64)
				if err != nil {
					t.Fatalf("%s, %s: %v", names[0], column, err)
				}
				return n
			}
		}
		return 0
	}
	facts := map[int]fact{}
	for _, row := range rows[1:] {
		if set[:2] == "BR" && row[0] != set {
			continue
		}
		facts[int(number(row, "problem"))] = fact{int(number(row, "box_types")), int(number(row, "boxes")), number(row, "container_volume"), number(row, "total_box_volume"),
			number(row, "best_known_packed_volume"), int(number(row, "containers_volume_lower_bound"))}
	}
	return facts
}

// TestPublishedFacts: every instance at hand is read as it was published, and packed: no
// better than can be, not far from the best that is known even with few trials, and whole
// where one container is known to hold all.
func TestPublishedFacts(t *testing.T) {
	sets := []string{"thpack8", "thpack9"}
	for n := range 16 {
		sets = append(sets, "BR"+strconv.Itoa(n))
	}
	packed := 0
	for _, set := range sets {
		facts := readFacts(t, set)
		for _, p := range readProblems(t, set) {
			f, ok := facts[p.number]
			if !ok {
				t.Errorf("%s %d: no facts", set, p.number)
				continue
			}
			boxes, total := 0, 0.0
			for _, b := range p.boxes {
				boxes += b.Count
				total += float64(b.Count) * float64(b.Size[0]) * float64(b.Size[1]) * float64(b.Size[2])
			}
			room := float64(p.container.Size[0]) * float64(p.container.Size[1]) * float64(p.container.Size[2])
			if len(p.boxes) != f.types || boxes != f.boxes || total != f.total || room != f.container {
				t.Errorf("%s %d: %d types, %d boxes of %g in %g; published: %+v", set, p.number, len(p.boxes), boxes, total, room, f)
			}
			if testing.Short() && p.number > 1 {
				continue
			}
			if set == "thpack9" {
				p.container.Count = AsMany
			}
			options := Options{Rollouts: 20, Workers: 2}
			r, err := Pack(context.Background(), p.boxes, []Container{p.container}, options)
			if err == nil {
				err = plainCheck(p.boxes, []Container{p.container}, options, r)
			}
			if err != nil {
				t.Fatalf("%s %d: %v", set, p.number, err)
			}
			packed++
			volume := filled(r) * room
			const far = 0.9 // of the best known, which took others much longer
			switch {
			case f.best > 0 && (volume < far*f.best || volume > min(total, room)+1):
				t.Errorf("%s %d: %.2f %% packed, and the best known is %.2f %%", set, p.number, 100*filled(r), 100*f.best/room)
			case set == "thpack9" && (len(r.Left) > 0 || len(r.Loads) < f.containers):
				t.Errorf("%s %d: %d containers, %d kinds left out; %d at least", set, p.number, len(r.Loads), len(r.Left), f.containers)
			case set == "thpack8" && f.containers == 1 && len(r.Left) > 0:
				t.Errorf("%s %d: %d kinds left out, and one container holds all", set, p.number, len(r.Left))
			}
		}
	}
	if packed < len(sets) {
		t.Errorf("%d instances packed, of %d sets", packed, len(sets))
	}
}

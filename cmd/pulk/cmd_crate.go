package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/inventory/crate"
	"pulk/inventory/grid"
	"pulk/inventory/packing"
	"pulk/schema/fault"
	"pulk/sync/carrier"
)

func (e *env) crateCommand() *cli.Command {
	return group("crate", "crates: what is in them, and how boxes fit", append(e.crateStoreVerbs(),
		verb{path: "pulk crate pack", usage: "find places for boxes, by search", storeless: true, reads: true,
			about: "Each container is filled as well as the search can before the next is begun. What is printed is in the order of loading; nothing breaks a rule of the tables. " +
				"The columns of both tables: docs/crate-csv.md. Interrupted, it prints the best found so far, with what is left filled in without search. " +
				"Boxes of different classes of segregation never share a container, unless --share says so: that is for a trained and certified shipper, by the edition in force.",
			examples: []string{"pulk crate pack --boxes boxes.csv --into crates.csv", "pulk crate pack --boxes boxes.csv --into aircraft.csv --trials 5000 --share 3/9 --pdf load.pdf --svg drawings"},
			flags: []cli.Flag{
				&cli.StringFlag{Name: "boxes", Usage: "CSV `FILE` of what is to be packed"},
				&cli.StringFlag{Name: "into", Usage: "CSV `FILE` of crates, containers or aircraft positions"},
				&cli.IntFlag{Name: "trials", Value: 400, Usage: "try about so many packings, `N`, for each container"},
				&cli.Float64Flag{Name: "seconds", Value: 60, Usage: "search for so many `SECONDS` at most, all containers together; each gets a fair part"},
				&cli.Float64Flag{Name: "support", Value: 1, Usage: "`SHARE` of each base that must stand on the floor or on boxes"},
				&cli.StringSliceFlag{Name: "share", Usage: "`CLASS/CLASS`: these two may share a container, as who is trained for it says; may be repeated"},
				&cli.StringSliceFlag{Name: "apart", Usage: "`CLASS/CLASS`: these may not, for two boxes of one class; may be repeated"},
				&cli.StringFlag{Name: "csv", Usage: "also write the places to `FILE`"},
				&cli.StringFlag{Name: "svg", Usage: "also draw each load from the side, the front and layer by layer, a picture each in `FOLDER`"},
				&cli.StringFlag{Name: "pdf", Usage: "also print lists and pictures to `FILE`"},
				&cli.StringFlag{Name: "paper", Value: "a4", Usage: "`PAPER`: a4 or letter"}},
			action: (*call).cratePack}.command(e),
		e.crateCharge())...)
}

// cratePlan is pulk crate pack --json.
type cratePlan struct {
	Interrupted bool        `json:"interrupted"`
	Loads       []crateLoad `json:"loads"`
	Left        []crateLeft `json:"left_out"`
	boxes       []*crate.Box
	kinds       []*crate.Container
}

// crateLoad is one container with what is in it.
type crateLoad struct {
	Container   string       `json:"container"`
	Name        string       `json:"name"`
	Copy        int          `json:"copy"` // which of its kind, from 1
	MassGrams   int64        `json:"mass_grams"`
	Utilisation float64      `json:"volume_share"`
	Centre      [3]float64   `json:"centre_of_mass_mm"` // along, across, up, from the back on the left, seen from the front
	Places      []cratePlace `json:"places"`
	kind        *crate.Container
}

// cratePlace is one box in its place, in the order of loading.
type cratePlace struct {
	Order   int    `json:"order"`
	Box     string `json:"box"`
	Name    string `json:"name"`
	At      [3]int `json:"at_mm"`   // the corner nearest to the back on the left, on the floor
	Size    [3]int `json:"size_mm"` // along, across, up, as it stands
	Upright string `json:"upright"` // which of its dimensions stands upright: length, width or height
	Grams   int64  `json:"mass_grams"`
	OnTop   int64  `json:"on_top_grams"`
}

// crateLeft is boxes that have no place.
type crateLeft struct {
	Box    string `json:"box"`
	Name   string `json:"name"`
	Count  int    `json:"count"`
	Reason string `json:"reason"`
}

const maxSearch = 24 * time.Hour

// workers is how many searches go on at once: the machines at a station have two
// processors.
const workers = 2

func (c *call) cratePack() error {
	boxes, err := readTable(c, "boxes", "docs/crate-csv.md", crate.ParseBoxes)
	if err != nil {
		return err
	}
	kinds, err := readTable(c, "into", "docs/crate-csv.md", crate.ParseContainers)
	if err != nil {
		return err
	}
	options, err := c.packOptions(boxes)
	if err != nil {
		return err
	}
	limit := time.Duration(c.Float64("seconds") * float64(time.Second))
	if limit <= 0 || limit > maxSearch {
		return fault.Misuse("like 10", "--seconds %v: above 0, and at most a day", c.Float64("seconds"))
	}
	size, err := paperSize(c.String("paper"))
	if err != nil {
		return err
	}
	var list []packing.Box
	for _, b := range boxes {
		list = append(list, b.Box)
	}
	var into []packing.Container
	for _, k := range kinds {
		into = append(into, k.Container)
	}
	if c.env.stopwatch != nil {
		passed := c.env.stopwatch()
		options.Used = func() float64 { return float64(passed()) / float64(limit) }
	}
	ctx, cancel := context.WithTimeout(c.Context.Context, limit)
	defer cancel()
	result, err := packing.Pack(ctx, list, into, options)
	if c.env.terminal {
		fmt.Fprintln(c.env.stderr)
	}
	if err != nil {
		return fault.Hint("see docs/crate-csv.md", "%s", err)
	}
	out := packedOf(result, boxes, kinds)
	out.Interrupted = result.Interrupted
	if err := c.writePacked(out, func() ([]byte, error) { return out.pdf(size, c.env.now()) }); err != nil {
		return err
	}
	if c.asJSON() {
		return c.printJSON(out)
	}
	c.printPacked(out)
	return nil
}

// readTable reads the table of a flag, whose columns a document tells; every bad cell
// is told.
func readTable[T any](c *call, flag, document string, parse func([]byte) ([]*T, []grid.CellError)) ([]*T, error) {
	path := c.String(flag)
	if path == "" {
		return nil, fault.Misuse("its columns: "+document, "give --%s FILE", flag)
	}
	source, err := readAtMost(path, crate.MaxBytes)
	if err != nil {
		return nil, err
	}
	rows, faults := parse(source)
	for _, f := range faults {
		fmt.Fprintf(c.env.stderr, "%s:%s\n", path, f)
	}
	switch {
	case len(faults) > 0:
		return nil, fault.Hint("mend the cells named above; the columns: "+document, "%s has %s", path, plural(len(faults), "bad cell", "bad cells"))
	case len(rows) == 0:
		return nil, fault.Hint("a line for each kind, below the names of the columns", "%s names nothing", path)
	}
	return rows, nil
}

func (c *call) packOptions(boxes []*crate.Box) (packing.Options, error) {
	options := packing.Options{Support: c.Float64("support"), Workers: workers}
	if !(options.Support >= 0 && options.Support <= 1) {
		return options, fault.Misuse("like 0.8; 1 is all of it", "--support %v is no share", options.Support)
	}
	if options.Rollouts = c.Int("trials"); options.Rollouts < 1 {
		return options, fault.Misuse("like 400", "--trials %d", options.Rollouts)
	}
	var err error
	if options.Apart, err = c.apart(boxes); err != nil {
		return options, err
	}
	last := time.Time{}
	options.Progress = func(p packing.Progress) {
		if now := c.env.now(); c.env.terminal && now.Sub(last) > time.Second {
			last = now
			fmt.Fprintf(c.env.rawErr, "\rcontainer %d: %d boxes, %.1f %% of its volume ", p.Container+1, p.Boxes, 100*p.Utilisation)
		}
	}
	return options, nil
}

// apart returns the pairs of classes that may not share a container: all that differ,
// but for those that --share names.
func (c *call) apart(boxes []*crate.Box) ([][2]string, error) {
	var classes []string
	for _, b := range boxes {
		if b.Segregation != "" && !slices.Contains(classes, b.Segregation) {
			classes = append(classes, b.Segregation)
		}
	}
	slices.Sort(classes)
	if len(classes) > maxClasses {
		return nil, fault.Hint("a class, not a box, stands in that column: see docs/crate-csv.md", "%d classes of segregation, and at most %d are taken", len(classes), maxClasses)
	}
	pairs := map[string][][2]string{}
	for _, flag := range []string{"share", "apart"} {
		for _, text := range c.StringSlice(flag) {
			one, two, ok := strings.Cut(text, "/")
			if !ok || one == "" || two == "" {
				return nil, fault.Misuse("like 3/5.1", "--%s %q", flag, text)
			}
			for _, class := range []string{one, two} {
				if !slices.Contains(classes, class) {
					return nil, fault.Misuse("write it as in the column segregation", "--%s %s: no box has the class %q", flag, text, class)
				}
			}
			pairs[flag] = append(pairs[flag], [2]string{min(one, two), max(one, two)})
		}
	}
	list := slices.Clone(pairs["apart"])
	for i, one := range classes {
		for _, two := range classes[i+1:] {
			if pair := [2]string{one, two}; !slices.Contains(list, pair) && !slices.Contains(pairs["share"], pair) {
				list = append(list, pair)
			}
		}
	}
	return list, nil
}

// maxClasses bounds the pairs of classes: there are some twenty in the rules for goods.
const maxClasses = 64

func packedOf(r packing.Result, boxes []*crate.Box, kinds []*crate.Container) *cratePlan {
	out := &cratePlan{Loads: []crateLoad{}, Left: []crateLeft{}, boxes: boxes, kinds: kinds}
	for _, l := range r.Loads {
		kind := kinds[l.Container]
		row := crateLoad{Container: kind.ID, Name: kind.Name, Copy: l.Copy, MassGrams: l.MassGrams, Utilisation: l.Utilisation, Centre: l.Centre, Places: []cratePlace{}, kind: kind}
		for _, p := range l.Placements {
			b := boxes[p.Box]
			row.Places = append(row.Places, cratePlace{p.Order, b.ID, b.Name, p.At, p.Size, [...]string{"length", "width", "height"}[p.Upright], b.MassGrams, p.TopGrams})
		}
		out.Loads = append(out.Loads, row)
	}
	for _, l := range r.Left {
		b := boxes[l.Box]
		out.Left = append(out.Left, crateLeft{b.ID, b.Name, l.Count, l.Reason.String()})
	}
	return out
}

// writePacked writes the files that were asked for.
func (c *call) writePacked(out *cratePlan, pdf func() ([]byte, error)) error {
	wrote := func(path string, data []byte) error {
		if err := carrier.WriteFile(path, data); err != nil {
			return err
		}
		fmt.Fprintf(c.env.stderr, "pulk: wrote %s\n", path)
		return nil
	}
	if path := c.String("csv"); path != "" {
		var buf bytes.Buffer
		if err := out.writeCSV(&buf); err != nil {
			return err
		}
		if err := wrote(path, buf.Bytes()); err != nil {
			return err
		}
	}
	if folder := c.String("svg"); folder != "" {
		if err := os.MkdirAll(folder, 0o777); err != nil {
			return err
		}
		drawings := 0
		for i := range out.Loads {
			l := &out.Loads[i]
			for _, view := range l.pictures() {
				if err := carrier.WriteFile(filepath.Join(folder, fmt.Sprintf("load-%02d-%s.svg", i+1, view.name)), []byte(view.svg(l.title()))); err != nil {
					return err
				}
				drawings++
			}
		}
		fmt.Fprintf(c.env.stderr, "pulk: wrote %s in %s\n", plural(drawings, "drawing", "drawings"), folder)
	}
	if path := c.String("pdf"); path != "" {
		data, err := pdf()
		if err != nil {
			return err
		}
		return wrote(path, data)
	}
	return nil
}

func (p *cratePlan) writeCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	out.Write([]string{"container", "copy", "order", "box", "name", "along_mm", "across_mm", "up_mm", "size_along_mm", "size_across_mm", "size_up_mm", "upright", "mass_grams", "on_top_grams"})
	for _, l := range p.Loads {
		for _, b := range l.Places {
			cells := []string{grid.AsText(l.Container), strconv.Itoa(l.Copy), strconv.Itoa(b.Order), grid.AsText(b.Box), grid.AsText(b.Name)}
			for _, n := range []int{b.At[0], b.At[1], b.At[2], b.Size[0], b.Size[1], b.Size[2]} {
				cells = append(cells, strconv.Itoa(n))
			}
			out.Write(append(cells, b.Upright, strconv.FormatInt(b.Grams, 10), strconv.FormatInt(b.OnTop, 10)))
		}
	}
	out.Flush()
	return out.Error()
}

// liftCaution stands before any list by which people load.
const liftCaution = "Before lifting, read the mass of each box: lift heavy ones by two people or by a device, as local rules say, and never stand below a load. " +
	"Dangerous goods are packed, marked and declared by a trained and certified shipper, by the edition in force."

func (c *call) printPacked(p *cratePlan) {
	c.printBlock("! ", liftCaution)
	c.printf("\n")
	if p.Interrupted {
		c.printf("Ended before the search did: the best found so far.\n\n")
	}
	for i := range p.Loads {
		l := &p.Loads[i]
		c.printf("%s\n%s\n\n", l.title(), l.facts())
		t := newTable("order", "box", "name", "along, across, up mm", "size mm", "upright", "kg", "on top kg")
		for _, b := range l.Places {
			t.add(b.Order, b.Box, b.Name, fmt.Sprintf("%d, %d, %d", b.At[0], b.At[1], b.At[2]), sidesText(b.Size), b.Upright, fmt.Sprintf("%.1f", float64(b.Grams)/1000), fmt.Sprintf("%.1f", float64(b.OnTop)/1000))
		}
		t.print(c.env, "")
		c.printf("\n")
	}
	if len(p.Loads) == 0 {
		c.printf("Nothing could be packed.\n\n")
	}
	if len(p.Left) == 0 {
		c.printf("Everything is in.\n")
		return
	}
	t := newTable("left out", "name", "count", "why")
	for _, l := range p.Left {
		t.add(l.Box, l.Name, l.Count, l.Reason)
	}
	t.print(c.env, "")
}

func (l *crateLoad) title() string {
	title := l.Container
	if l.Name != "" {
		title += " (" + l.Name + ")"
	}
	if l.kind.Count != 1 {
		title += fmt.Sprintf(", number %d", l.Copy)
	}
	return title + ": " + plural(len(l.Places), "box", "boxes")
}

func (l *crateLoad) facts() string {
	most := ""
	if l.kind.MassGramsMax > 0 {
		most = fmt.Sprintf(" of %.1f", float64(l.kind.MassGramsMax)/1000)
	}
	s := l.kind.Size
	return fmt.Sprintf("inside %s mm; %.1f%s kg; %.1f %% of the volume; centre of mass %.0f, %.0f, %.0f mm (%.0f, %.0f, %.0f %%)", sidesText(s), float64(l.MassGrams)/1000, most, 100*l.Utilisation,
		l.Centre[0], l.Centre[1], l.Centre[2], 100*l.Centre[0]/float64(s[0]), 100*l.Centre[1]/float64(s[1]), 100*l.Centre[2]/float64(s[2]))
}

func sidesText(s [3]int) string { return fmt.Sprintf("%d × %d × %d", s[0], s[1], s[2]) }

package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/schema/fault"
	"pulk/sync/carrier"
	"pulk/sync/changelog"
	"pulk/sync/fragment"
	"pulk/sync/seal"
	"pulk/sync/transfer"
)

// requestBytes is how large a request for fragments may be, for it to be typed or
// to fit a short message.
const requestBytes = 100

func wrappingFlags() []cli.Flag {
	return []cli.Flag{
		&cli.BoolFlag{Name: "seal", Usage: "close it so that only the addressee can read it; 55 bytes more"},
		&cli.IntFlag{Name: "fragment", Usage: "cut what is larger into files of at most so many `BYTES`"},
		&cli.StringFlag{Name: "parity", Usage: "add `SHARE` more fragments, such as 30%, any of which stand in for lost ones; needs --fragment"},
	}
}

// wrapping returns how the flags say that parcels go.
func (c *call) wrapping() (transfer.Wrapping, error) {
	w := transfer.Wrapping{Seal: c.Bool("seal"), FragmentBytes: c.Int("fragment")}
	if c.IsSet("fragment") && w.FragmentBytes < fragment.MinBytes {
		return w, fault.Misuse(fmt.Sprintf("give %d or more: a short-burst message takes some 340", fragment.MinBytes), "--fragment %d is too small", w.FragmentBytes)
	}
	text := c.String("parity")
	if text == "" {
		return w, nil
	}
	number, percent := strings.CutSuffix(text, "%")
	share, err := strconv.ParseFloat(number, 64)
	if percent {
		share /= 100
	}
	if err != nil || !(share > 0 && share <= 4) {
		return w, fault.Misuse("give a share of the fragments, such as 30%, up to 400%", "--parity %s cannot be read", text)
	}
	if w.FragmentBytes == 0 {
		return w, fault.Misuse("say with --fragment BYTES how large", "--parity adds fragments")
	}
	w.ParityShare = share
	return w, nil
}

// writeParcels writes what was made: one file of the name given, or fragments whose
// names begin with it. A folder, or what ends in a slash, holds them under the name
// of the parcel. It returns what to call all of it.
func writeParcels(output string, parcels []transfer.Parcel) (string, error) {
	folder := strings.HasSuffix(output, string(filepath.Separator))
	if info, err := os.Stat(output); err == nil && info.IsDir() {
		folder = true
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	name := output
	if folder {
		if err := os.MkdirAll(output, 0o777); err != nil {
			return "", err
		}
		name = filepath.Join(output, nameOf(parcels[0].Data))
	}
	if parcels[0].Kind != transfer.Fragment {
		if folder {
			name += ".bundle"
		}
		return name, carrier.WriteFile(name, parcels[0].Data)
	}
	for _, parcel := range parcels {
		if err := carrier.WriteFile(fmt.Sprintf("%s-%02d.fragment", name, parcel.Place+1), parcel.Data); err != nil {
			return "", err
		}
	}
	return name + "-*.fragment", nil
}

// nameOf returns the name of the parcel that a fragment is of, or of a whole one.
func nameOf(parcel []byte) string {
	if f, err := fragment.Parse(parcel); err == nil {
		return f.Name.String()
	}
	return fragment.NameOf(parcel).String()
}

// sayCut says what is needed of fragments.
func (c *call) sayCut(cut *fragment.Cut) {
	switch {
	case cut == nil:
	case cut.Parity == 0:
		c.printf("  parcel %s in %s; the other site says which are missing\n", cut.Name, plural(cut.Data, "fragment", "fragments"))
	default:
		c.printf("  parcel %s in %d fragments; any %d of them are enough\n", cut.Name, cut.Total(), cut.Data)
	}
}

// bundleResend writes fragments again that another site asks for.
func (c *call) bundleResend() error {
	if c.String("output") == "" || c.String("to") != "" {
		return fault.Misuse("the request says of which parcel; see: pulk bundle make --help", "pulk bundle make --resend: -o FILE is needed, and no --to")
	}
	request, err := readRequest(c.String("resend"))
	if err != nil {
		return err
	}
	return c.withLog(func(log *changelog.Log) error {
		parcels, peer, err := c.desk(log).Again(c.Context.Context, request)
		if err != nil {
			return err
		}
		name, err := writeParcels(c.String("output"), parcels)
		if err != nil {
			return err
		}
		return log.View(c.Context.Context, func(tx *changelog.Tx) error {
			to, _, err := tx.SiteByID(peer)
			sum := 0
			for _, p := range parcels {
				sum += len(p.Data)
			}
			c.printf("%s: %d bytes for %s, %s of parcel %s again\n", name, sum, to.Code, plural(len(parcels), "fragment", "fragments"), request.Name)
			if request.Partial {
				c.printf("  still others are missing there: it asks for them when these have come\n")
			}
			return err
		})
	})
}

// readRequest reads a request from a file of that name, else as a code.
func readRequest(text string) (fragment.Request, error) {
	data, err := carrier.ReadFile(text)
	if errors.Is(err, fs.ErrNotExist) {
		request, err := fragment.ParseCode(text)
		if err != nil {
			return request, fault.Hint("there is no file of that name; read the code again, group by group", "--resend: %w", err)
		}
		return request, nil
	}
	if err != nil {
		return fragment.Request{}, err
	}
	request, err := fragment.ParseRequest(data)
	if err != nil {
		return request, fault.Hint("ask for its code: pulk bundle missing", "%s: %w", text, err)
	}
	return request, nil
}

// missingRow is a parcel of which fragments are missing.
type missingRow struct {
	Parcel  string    `json:"parcel"`
	Bytes   int       `json:"bytes"`   // of the parcel
	Needed  int       `json:"needed"`  // fragments that make it
	Here    int       `json:"here"`    // fragments that are here
	Missing []int     `json:"missing"` // the fragments that the code asks for, from 1
	All     bool      `json:"all"`     // the code asks for all that is needed
	Code    string    `json:"code"`    // for pulk bundle make --resend
	FirstAt time.Time `json:"first_at"`
	GrewAt  time.Time `json:"grew_at"` // when the last fragment came
	Trouble string    `json:"trouble"` // why it was not taken, though enough is here
}

func (c *call) bundleMissing() error {
	return c.withLog(func(log *changelog.Log) error {
		lacks, err := c.desk(log).Missing(c.Context.Context)
		if err != nil {
			return err
		}
		if name := c.Args().First(); name != "" {
			if lacks = named(lacks, name); len(lacks) == 0 {
				return fault.Hint("see: pulk bundle missing", "nothing is missing of a parcel %s", name)
			}
		}
		if path := c.String("output"); path != "" {
			return c.writeRequest(path, lacks)
		}
		rows := []missingRow{}
		for _, l := range lacks {
			rows = append(rows, c.missingRowOf(l))
		}
		if c.asJSON() {
			return c.printJSON(rows)
		}
		if len(rows) == 0 {
			c.printf("No fragments are missing.\n")
		}
		for i, row := range rows {
			c.sayMissing(row, lacks[i])
		}
		return nil
	})
}

func named(lacks []transfer.Lack, name string) (list []transfer.Lack) {
	for _, l := range lacks {
		if l.Name.String() == name {
			list = append(list, l)
		}
	}
	return list
}

func (c *call) missingRowOf(l transfer.Lack) missingRow {
	request := l.Request.Encode(c.roomForRequest())
	asked, _ := fragment.ParseRequest(request) // what was encoded can be read
	row := missingRow{Parcel: l.Name.String(), Bytes: l.Length, Needed: l.Data, Here: l.Here, All: !asked.Partial,
		Code: fragment.Code(request), FirstAt: l.FirstAt, GrewAt: l.GrewAt, Trouble: l.Trouble}
	for _, place := range asked.Missing {
		row.Missing = append(row.Missing, place+1)
	}
	return row
}

func (c *call) roomForRequest() int {
	if c.IsSet("max-bytes") && c.Command.Name == "missing" {
		return c.Int("max-bytes")
	}
	return requestBytes
}

func (c *call) sayMissing(row missingRow, l transfer.Lack) {
	c.printf("parcel %s: of %d fragments that are needed %d are here, the last came %s\n", row.Parcel, row.Needed, row.Here, c.env.showTime(row.GrewAt))
	if row.Trouble != "" {
		c.printf("  not taken: %s\n", row.Trouble)
	}
	c.printf("  missing: %s", ranges(row.Missing))
	if !row.All {
		c.printf(" and others, for which the code has no room")
	}
	c.printf("\n  its sender can send them again: pulk bundle make --resend %s -o FOLDER\n", row.Code)
}

// ranges returns ascending numbers as text, runs of them as from-to.
func ranges(numbers []int) string {
	var parts []string
	for i := 0; i < len(numbers); {
		j := i
		for j+1 < len(numbers) && numbers[j+1] == numbers[j]+1 {
			j++
		}
		part := strconv.Itoa(numbers[i])
		if j > i {
			part += "-" + strconv.Itoa(numbers[j])
		}
		parts = append(parts, part)
		i = j + 1
	}
	const most = 12
	if len(parts) > most {
		parts = append(parts[:most], fmt.Sprintf("… (%d in all)", len(numbers)))
	}
	return strings.Join(parts, ", ")
}

func (c *call) writeRequest(path string, lacks []transfer.Lack) error {
	if len(lacks) != 1 {
		return fault.Hint("name one: pulk bundle missing NAME -o FILE", "fragments of %s are missing; a request asks for those of one", plural(len(lacks), "parcel", "parcels"))
	}
	request := lacks[0].Request.Encode(c.roomForRequest())
	if err := carrier.WriteFile(path, request); err != nil {
		return err
	}
	row := c.missingRowOf(lacks[0])
	c.printf("%s: %d bytes, asks for %s of parcel %s\n", path, len(request), plural(len(row.Missing), "fragment", "fragments"), row.Parcel)
	if !row.All {
		c.printf("  not all that are missing fit; ask again when these have come\n")
	}
	return nil
}

// shows are how pulk bundle show tells what is no bundle.
var shows = map[transfer.Kind]func(*call, []byte) error{
	transfer.Fragment: (*call).showFragment, transfer.Sealed: (*call).showSealed, transfer.Resend: (*call).showRequest,
}

func (c *call) showFragment(data []byte) error {
	f, err := fragment.Parse(data)
	if err != nil {
		return err
	}
	c.printf("fragment %d of %d of parcel %s, %d bytes of it; its check fits\n", f.Place+1, f.Total(), f.Name, len(f.Body))
	c.printf("the parcel has %d bytes; any %d fragments make it, %d of the %d hold parity\n", f.Length, f.Data, f.Parity, f.Total())
	return nil
}

func (c *call) showSealed(data []byte) error {
	to, err := seal.Addressee(data)
	if err != nil {
		return err
	}
	c.printf("sealed parcel for site %08x, %d bytes inside; only that site can read it, and see who sent it\n", to, len(data)-seal.Overhead)
	return nil
}

func (c *call) showRequest(data []byte) error {
	request, err := fragment.ParseRequest(data)
	if err != nil {
		return err
	}
	places := make([]int, len(request.Missing))
	for i, place := range request.Missing {
		places[i] = place + 1
	}
	c.printf("request for fragments %s of %d of parcel %s\n", ranges(places), request.Total(), request.Name)
	c.printf("as a code: %s\n", fragment.Code(data))
	return nil
}

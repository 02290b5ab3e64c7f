package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"time"

	"github.com/urfave/cli/v2"

	"pulk/schema"
	"pulk/schema/kind"
	"pulk/sync/bundle"
	"pulk/sync/fragment"
	"pulk/sync/seal"
)

func (e *env) versionCommand() *cli.Command {
	return verb{
		path: "pulk version", usage: "which program this is, and what it can read", reads: true, storeless: true,
		about:  "When a message says that a newer program is needed, the site that wrote the data has a higher number in one of these lines. Changes of kinds that it does not know are kept and passed on unread; bundles and stores of a newer version are refused and left as they are.",
		action: (*call).version,
	}.command(e)
}

// versionJSON is pulk version --json.
type versionJSON struct {
	Revision   string     `json:"revision"`    // of the source; empty where it was not noted when the program was made
	RevisionAt *time.Time `json:"revision_at"` // null: not noted
	Changed    bool       `json:"changed"`     // made from source that had changed since
	Go         string     `json:"go"`
	System     string     `json:"system"` // operating system and processor
	Store      int        `json:"store"`  // version of the tables of a store
	Bundle     int        `json:"bundle"`
	Fragments  [2]int     `json:"fragments"` // first and last form that is read; messages write them in hexadecimal
	Sealed     int        `json:"sealed"`
	Kind       int        `json:"kind"`  // the last kind of change known
	Field      int        `json:"field"` // the last field known that can be in conflict
}

// versionFlag is for those who try it before they read the help.
func versionFlag() cli.Flag {
	return &cli.BoolFlag{Name: "version", Usage: "print which program this is; more with: pulk version"}
}

func (c *call) version() error {
	v := thisProgram()
	if c.asJSON() {
		return c.printJSON(v)
	}
	c.printf("%s\n", v)
	c.printf("made with %s for %s\n\n", v.Go, v.System)
	t := newTable("what", "version")
	t.add("store", v.Store)
	t.add("bundle", v.Bundle)
	t.add("fragment", fmt.Sprintf("%x to %x", v.Fragments[0], v.Fragments[1]))
	t.add("sealed parcel", v.Sealed)
	t.add("kinds of change", fmt.Sprintf("up to %d", v.Kind))
	t.add("fields that can be in conflict", fmt.Sprintf("up to %d", v.Field))
	t.print(c.env, "")
	return nil
}

// thisProgram tells what the compiler noted, and what the formats say of themselves.
func thisProgram() versionJSON {
	first, last := fragment.Forms()
	v := versionJSON{
		Go: runtime.Version(), System: runtime.GOOS + "/" + runtime.GOARCH,
		Store: schema.Version(), Bundle: bundle.Version, Fragments: [2]int{first, last}, Sealed: seal.Version,
		Kind: int(kind.All()[len(kind.All())-1].ID), Field: int(kind.Fields()[len(kind.Fields())-1].ID),
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return v
	}
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			v.Revision = s.Value
		case "vcs.time":
			if at, err := time.Parse(time.RFC3339, s.Value); err == nil {
				v.RevisionAt = &at
			}
		case "vcs.modified":
			v.Changed = s.Value == "true"
		}
	}
	return v
}

// String names the program in one line.
func (v versionJSON) String() string {
	if v.Revision == "" {
		return "pulk, built without noting its revision"
	}
	text := "pulk " + v.Revision[:min(12, len(v.Revision))]
	if v.RevisionAt != nil {
		text += v.RevisionAt.UTC().Format(" of 2006-01-02 15:04 UTC")
	}
	if v.Changed {
		text += ", from source that had changed since"
	}
	return text
}

package main

import (
	"flag"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "write expected output in testdata/script and in the documents anew; read the diff as a reviewer")

// TestScript plays the stories in testdata/script. One command is our own:
//
//	refused 3 pulk …    runs a command that must end with that exit code
//
// The folder of the shared procedures is in $PROCEDURES.
func TestScript(t *testing.T) {
	procedures, err := filepath.Abs("../../testdata/procedures")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script", UpdateScripts: *update, RequireExplicitExec: true, RequireUniqueNames: true,
		Setup: func(e *testscript.Env) error {
			e.Setenv(envNow, "2027-01-05T08:00:00Z")
			e.Setenv(envSeed, "script")
			e.Setenv("PROCEDURES", procedures)
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"refused": scriptRefused},
	})
}

// scriptRefused runs a command of the program that must end with an exit code. What
// it printed is compared as usual.
func scriptRefused(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 || args[1] != "pulk" {
		ts.Fatalf("usage: refused CODE pulk ARGUMENTS")
	}
	got := "exit status 0"
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		got = err.Error()
	}
	if want := "exit status " + args[0]; got != want {
		ts.Fatalf("pulk %v ended with %s, want %s", args[2:], got, want)
	}
}

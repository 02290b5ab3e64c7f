package main

import (
	"flag"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "write expected output in testdata/script and in the documents anew; read the diff as a reviewer")

// TestScript plays the stories in testdata/script.
func TestScript(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script", UpdateScripts: *update, RequireExplicitExec: true, RequireUniqueNames: true,
		Setup: func(e *testscript.Env) error {
			e.Setenv(envNow, "2027-01-05T08:00:00Z")
			e.Setenv(envSeed, "script")
			return nil
		},
	})
}

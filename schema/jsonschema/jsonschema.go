// Package jsonschema carries the JSON Schemas of the files that people write.
//
// They are published so that an editor can check a file's shape while it is
// typed. They say no more than the shape: the rules between the parts of a file
// belong to the package that parses it, which stays the judge.
package jsonschema

import _ "embed"

//go:embed procedure.schema.json
var procedure string

// Procedure returns the schema of procedure files, JSON Schema draft 2020-12.
func Procedure() string { return procedure }

//go:embed link.schema.json
var link string

// Link returns the schema of links' files, JSON Schema draft 2020-12.
func Link() string { return link }

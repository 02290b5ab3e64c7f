package jsonschema_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
	validator "github.com/santhosh-tekuri/jsonschema/v6"
	yaml "go.yaml.in/yaml/v4"

	"pulk/schema/jsonschema"
)

const proceduresFolder = "../../testdata/procedures"

func compile(t *testing.T, source string) *validator.Schema {
	t.Helper()
	document, err := validator.UnmarshalJSON(strings.NewReader(source))
	if err != nil {
		t.Fatal(err)
	}
	if document.(map[string]any)["$schema"] != "https://json-schema.org/draft/2020-12/schema" {
		t.Error("the schema does not say that it is draft 2020-12")
	}
	compiler := validator.NewCompiler()
	if err := compiler.AddResource("file.schema.json", document); err != nil {
		t.Fatal(err)
	}
	schema, err := compiler.Compile("file.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return schema
}

// asJSON turns a YAML file into the value that a JSON tool would see.
func asJSON(src []byte) (any, error) {
	var document yaml.Node
	if err := yaml.Load(src, &document); err != nil {
		return nil, err
	}
	return nodeValue(document.Content[0])
}

func nodeValue(n *yaml.Node) (any, error) {
	switch n.Kind {
	case yaml.MappingNode:
		object := map[string]any{}
		for i := 0; i+1 < len(n.Content); i += 2 {
			value, err := nodeValue(n.Content[i+1])
			if err != nil {
				return nil, err
			}
			object[n.Content[i].Value] = value
		}
		return object, nil
	case yaml.SequenceNode:
		array := []any{}
		for _, item := range n.Content {
			value, err := nodeValue(item)
			if err != nil {
				return nil, err
			}
			array = append(array, value)
		}
		return array, nil
	}
	switch n.ShortTag() {
	case "!!null":
		return nil, nil
	case "!!bool":
		return n.Value == "true", nil
	case "!!int":
		whole, err := strconv.ParseInt(n.Value, 0, 64)
		return json.Number(strconv.FormatInt(whole, 10)), err
	case "!!float":
		if !json.Valid([]byte(n.Value)) {
			return nil, fmt.Errorf("number %q is not one of JSON", n.Value)
		}
		return json.Number(n.Value), nil
	}
	return n.Value, nil
}

func TestSharedProceduresKeepTheSchema(t *testing.T) {
	schema := compile(t, jsonschema.Procedure())
	files, err := filepath.Glob(proceduresFolder + "/*.yaml")
	if err != nil || len(files) < 5 {
		t.Fatalf("%d procedures in %s, %v; want at least 5", len(files), proceduresFolder, err)
	}
	document, err := os.ReadFile("../../docs/procedure-format.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := bytes.Cut(document, []byte("```yaml\n"))
	example, _, _ := bytes.Cut(rest, []byte("```"))
	sources := map[string][]byte{"docs/procedure-format.md": example}
	for _, file := range files {
		if sources[file], err = os.ReadFile(file); err != nil {
			t.Fatal(err)
		}
	}
	for name, src := range sources {
		value, err := asJSON(src)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if err := schema.Validate(value); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The schema refuses every bad file whose fault lies in its shape, and accepts
// those that break only a rule between steps, or nothing.
func TestSchemaOnBadFiles(t *testing.T) {
	schema := compile(t, jsonschema.Procedure())
	archive, err := txtar.ParseFile(proceduresFolder + "/bad.txtar")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, file := range archive.Files {
		name, layer, _ := strings.Cut(file.Name, ".")
		if layer == "want" {
			continue
		}
		seen[layer]++
		if layer == "syntax" {
			continue
		}
		value, err := asJSON(file.Data)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		err = schema.Validate(value)
		if refused, want := err != nil, strings.HasSuffix(layer, "shape"); refused != want {
			t.Errorf("%s: refused %t; want %t (%v)", name, refused, want, err)
		}
	}
	if seen["shape"] < 50 || seen["rule"] < 10 || seen["warn"] < 5 {
		t.Errorf("layers seen %v; want the whole table", seen)
	}
}

// The schema of links takes the shared files, and refuses the bad ones that can be
// read at all, save the one whose two values do not fit each other.
func TestLinkSchema(t *testing.T) {
	const folder = "../../testdata/links"
	schema := compile(t, jsonschema.Link())
	files, err := filepath.Glob(folder + "/*.yaml")
	if err != nil || len(files) < 2 {
		t.Fatalf("%d links in %s, %v; want at least 2", len(files), folder, err)
	}
	for _, file := range files {
		src, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if value, err := asJSON(src); err != nil || schema.Validate(value) != nil {
			t.Errorf("%s: %v, %v", file, err, schema.Validate(value))
		}
	}
	archive, err := txtar.ParseFile(folder + "/bad.txtar")
	if err != nil {
		t.Fatal(err)
	}
	refused := 0
	for _, file := range archive.Files {
		switch file.Name {
		case "keys.yaml", "values.yaml", "missing.yaml":
			value, err := asJSON(file.Data)
			if err != nil || schema.Validate(value) == nil {
				t.Errorf("%s passes (%v)", file.Name, err)
			}
			refused++
		case "ages.yaml":
			if value, err := asJSON(file.Data); err != nil || schema.Validate(value) != nil {
				t.Errorf("%s: %v, %v", file.Name, err, schema.Validate(value))
			}
		}
	}
	if refused != 3 {
		t.Errorf("%d bad files were tried", refused)
	}
}

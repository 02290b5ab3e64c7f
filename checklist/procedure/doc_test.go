package procedure_test

import (
	"os"
	"strings"
	"testing"

	"pulk/checklist/procedure"
)

// The example in the format's document is a procedure without a fault.
func TestDocumentExample(t *testing.T) {
	document, err := os.ReadFile("../../docs/procedure-format.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(document), "```yaml\n")
	source, _, closed := strings.Cut(rest, "```")
	if !ok || !closed {
		t.Fatal("docs/procedure-format.md has no ```yaml block")
	}
	p, problems := procedure.Parse("example", []byte(source))
	if len(problems) != 0 {
		t.Fatalf("problems: %v", problems)
	}
	if len(p.Steps) != 6 || p.Steps[5].Uses[1].Quantity != 4 || p.Steps[3].Reading.Limits.String() != "10.5 to 11.2" {
		t.Errorf("read as %+v", p)
	}
}

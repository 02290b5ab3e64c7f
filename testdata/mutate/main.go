// Command mutate takes single rules out of Go files and tells which of them no test
// missed:
//
//	go run ./testdata/mutate [-long] [-then REGEXP] checklist/run/gate.go[:LINE] …
//
// A rule is an operand of && or ||, the condition of an if, a case of a switch without
// a tag, or a comparison that is returned. Each is put out of force by itself, in a copy
// of its file that the go command is given in place of it (-overlay), so nothing in the
// tree changes. The short tests of the file's package are run on it, with -long all of
// them, and with -then those of cmd/pulk that match, for what is left. It prints what survives, and exits with 1 if
// anything does.
//
// It takes some seconds a rule; a line that ends in "// mutate: REASON" is passed over.
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

var long bool

func main() {
	then := flag.String("then", "", "tests of ./cmd/pulk to run on what the package's own tests let pass")
	flag.BoolVar(&long, "long", false, "run the long tests of the package too")
	flag.Parse()
	survived, err := run(flag.Args(), *then)
	if err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(2)
	}
	if survived > 0 {
		os.Exit(1)
	}
}

func run(files []string, then string) (survived int, err error) {
	folder, err := os.MkdirTemp("", "mutate")
	if err != nil {
		return 0, err
	}
	defer os.RemoveAll(folder)
	tried := 0
	for _, file := range files {
		file, line, _ := strings.Cut(file, ":")
		list, err := mutants(file)
		if err != nil {
			return 0, err
		}
		for _, m := range list {
			if line != "" && !strings.HasPrefix(m.at, file+":"+line+":") {
				continue
			}
			caught, err := m.caught(folder, then)
			if err != nil {
				return 0, err
			}
			tried++
			if !caught {
				survived++
				fmt.Printf("%s: nobody misses %s\n", m.at, m.what)
			}
		}
		fmt.Fprintf(os.Stderr, "%s: %d rules, %d survived so far\n", file, len(list), survived)
	}
	fmt.Printf("%d rules taken out, %d not missed\n", tried, survived)
	return survived, nil
}

// mutant is a file with one rule out of force.
type mutant struct {
	file, at, what string
	source         []byte
}

// mutants returns the file without each of its rules in turn.
func mutants(file string) ([]mutant, error) {
	source, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	fset := token.NewFileSet()
	tree, err := parser.ParseFile(fset, file, source, parser.ParseComments)
	if err != nil {
		return nil, err
	}
	passedOver := map[int]bool{}
	for _, group := range tree.Comments {
		for _, comment := range group.List {
			if strings.HasPrefix(comment.Text, "// mutate: ") {
				passedOver[fset.Position(comment.Pos()).Line] = true
			}
		}
	}
	var list []mutant
	seen := map[string]bool{}
	force := func(e ast.Expr, value string) {
		at, from, to := fset.Position(e.Pos()), fset.Position(e.Pos()).Offset, fset.Position(e.End()).Offset
		rule := string(source[from:to])
		key := fmt.Sprint(from, to, value)
		if passedOver[at.Line] || seen[key] {
			return
		}
		seen[key] = true
		text := string(source[:from]) + "(" + value + " (" + rule + "))" + string(source[to:])
		list = append(list, mutant{file, fmt.Sprintf("%s:%d:%d", file, at.Line, at.Column), strings.Join(strings.Fields(rule), " ") + ", " + value[:strings.Index(value, " ")], []byte(text)})
	}
	never, always := "false &&", "true ||"
	ast.Inspect(tree, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BinaryExpr:
			switch n.Op {
			case token.LAND:
				force(n.X, always)
				force(n.Y, always)
			case token.LOR:
				force(n.X, never)
				force(n.Y, never)
			}
		case *ast.IfStmt:
			if !isErrCheck(n.Cond) {
				force(n.Cond, never)
			}
		case *ast.SwitchStmt:
			if n.Tag != nil {
				return true
			}
			for _, clause := range n.Body.List {
				for _, e := range clause.(*ast.CaseClause).List {
					force(e, never)
				}
			}
		case *ast.ReturnStmt:
			for _, e := range n.Results {
				if compares(e) {
					force(e, never)
					force(e, always)
				}
			}
		}
		return true
	})
	return list, nil
}

// isErrCheck: passing on what failed below is no rule of the work.
func isErrCheck(e ast.Expr) bool {
	b, ok := e.(*ast.BinaryExpr)
	if !ok || b.Op != token.NEQ {
		return false
	}
	x, ok := b.X.(*ast.Ident)
	return ok && x.Name == "err"
}

func compares(e ast.Expr) bool {
	switch e := e.(type) {
	case *ast.ParenExpr:
		return compares(e.X)
	case *ast.UnaryExpr:
		return e.Op == token.NOT
	case *ast.BinaryExpr:
		switch e.Op {
		case token.EQL, token.NEQ, token.LSS, token.LEQ, token.GTR, token.GEQ, token.LAND, token.LOR:
			return true
		}
	}
	return false
}

// caught reports whether a test fails on the mutant. One that does not compile counts
// as caught, and is told of.
func (m mutant) caught(folder, then string) (caught bool, err error) {
	path := filepath.Join(folder, filepath.Base(m.file))
	if err := os.WriteFile(path, m.source, 0o600); err != nil {
		return false, err
	}
	whole, err := filepath.Abs(m.file)
	if err != nil {
		return false, err
	}
	overlay, err := json.Marshal(map[string]map[string]string{"Replace": {whole: path}})
	if err != nil {
		return false, err
	}
	list := filepath.Join(folder, "overlay.json")
	if err := os.WriteFile(list, overlay, 0o600); err != nil {
		return false, err
	}
	runs := [][]string{{"test", "-short=" + strconv.FormatBool(!long), "-failfast", "-overlay", list, "./" + filepath.Dir(m.file)}}
	if then != "" {
		runs = append(runs, []string{"test", "-short", "-failfast", "-overlay", list, "-run", then, "./cmd/pulk"})
	}
	for _, args := range runs {
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Minute)
		out, err := exec.CommandContext(ctx, "go", args...).CombinedOutput()
		cancel()
		if err != nil {
			if strings.Contains(string(out), "[build failed]") {
				fmt.Fprintf(os.Stderr, "%s: %s does not compile\n", m.at, m.what)
			}
			return true, nil
		}
	}
	return false, nil
}

package main

import (
	"bytes"
	"io"
	"regexp"
	"strings"
	"unicode/utf8"

	"github.com/urfave/cli/v2"
)

// helpPrinter makes the library that knows the flags print help so that no line is wider
// than the terminal, which would break it within a word.
func helpPrinter(width func() int) func(io.Writer, string, any, map[string]any) {
	return func(w io.Writer, template string, data any, functions map[string]any) {
		var text bytes.Buffer
		printHelp(&text, template, data, functions)
		io.WriteString(w, foldHelp(text.String(), width()))
	}
}

// printHelp is how the library prints help by itself.
var printHelp = cli.HelpPrinterCustom

func init() { cli.HelpPrinterCustom = helpPrinter((&env{size: terminalSize}).width) }

// helpRow is a line of a list of commands or flags: a name, and what it is.
var helpRow = regexp.MustCompile(`^   (\S.*?)  +(\S.*)$`)

// helpNoise is what the library adds of itself: that a flag may be repeated, which the
// texts say, and that what is not asked for is not done, or nothing.
var helpNoise = regexp.MustCompile(` \[ --\S+ [^]]+ \]| \(default: (false|0s?)\)`)

// exampleIndent is where the examples of a command stand.
const exampleIndent = 5

// foldHelp breaks lines that are too wide between words. In a list the next line begins
// where the texts do; an example stays one that a shell takes.
func foldHelp(text string, columns int) string {
	var out strings.Builder
	var rows []string
	lines := strings.Split(helpNoise.ReplaceAllString(text, ""), "\n")
	for i, line := range lines {
		if helpRow.MatchString(line) {
			rows = append(rows, line)
			continue
		}
		foldRows(&out, rows, columns)
		rows = nil
		if indent := len(line) - len(strings.TrimLeft(line, " ")); utf8.RuneCountInString(line) > columns && indent < columns/2 {
			end, hang := "", indent
			if indent == exampleIndent && strings.HasPrefix(line[indent:], "pulk ") {
				end, hang = " \\", indent+2
			}
			line = line[:indent] + strings.Join(wrap(line, columns-hang-len(end)), end+"\n"+strings.Repeat(" ", hang))
		}
		out.WriteString(line)
		if i < len(lines)-1 {
			out.WriteByte('\n')
		}
	}
	foldRows(&out, rows, columns)
	return out.String()
}

// foldRows writes the rows of one list. Where long names leave too little room beside them,
// texts begin further left, below the longer names.
func foldRows(out *strings.Builder, rows []string, columns int) {
	parts, name, text := [][]string{}, 0, 0
	for _, row := range rows {
		part := helpRow.FindStringSubmatch(row)[1:]
		parts = append(parts, part)
		name, text = max(name, utf8.RuneCountInString(part[0])), max(text, utf8.RuneCountInString(part[1]))
	}
	at := 3 + name + 2
	if at+text > columns && at > columns/2 {
		at = min(at, columns/3)
	}
	for _, part := range parts {
		line := "   " + part[0] + "  "
		if n := utf8.RuneCountInString(line); n > at {
			out.WriteString(strings.TrimRight(line, " ") + "\n")
			line = strings.Repeat(" ", at)
		} else {
			line += strings.Repeat(" ", at-n)
		}
		out.WriteString(line + strings.Join(wrap(part[1], columns-at), "\n"+strings.Repeat(" ", at)) + "\n")
	}
}

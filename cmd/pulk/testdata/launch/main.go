// Launch runs a program and tells the peak of its resident memory in bytes, whether
// it ended well, and the end of its standard error.
//
// Linux lets a child's peak begin at its parent's size, so what launches a program to
// measure it must be smaller than that: the binary of the tests is not.
package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"syscall"
)

func main() {
	var complaint tail
	program := exec.Command(os.Args[1], os.Args[2:]...)
	program.Stderr = &complaint
	err := program.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	usage := program.ProcessState.SysUsage().(*syscall.Rusage)
	fmt.Printf("peak %d ok %t\n%s\n", usage.Maxrss<<10, err == nil, complaint.kept)
}

// tail keeps the end of what is written to it.
type tail struct{ kept []byte }

func (w *tail) Write(p []byte) (int, error) {
	w.kept = append(w.kept, p...)
	if n := len(w.kept); n > 2000 {
		w.kept = append([]byte{}, w.kept[n-1000:]...)
	}
	return len(p), nil
}

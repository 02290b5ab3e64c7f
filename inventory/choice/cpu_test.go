//go:build unix

package choice

import (
	"syscall"
	"testing"
)

func init() {
	cpuSeconds = func(t testing.TB) float64 {
		var usage syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &usage); err != nil {
			t.Fatal(err)
		}
		return float64(usage.Utime.Nano()+usage.Stime.Nano()) / 1e9
	}
}

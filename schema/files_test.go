package schema

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

// TestRename: what lies beside a store's file goes with it, and nothing is written over.
func TestRename(t *testing.T) {
	folder := t.TempDir()
	write := func(name, text string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	read := func(name string) string {
		text, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			return "none"
		}
		return string(text)
	}
	write("a", "file")
	write("a-wal", "log")
	write("taken-shm", "another's")
	if _, err := Rename(filepath.Join(folder, "a"), filepath.Join(folder, "taken")); !errors.Is(err, ErrExists) || read("a")+read("a-wal") != "filelog" {
		t.Errorf("to where something lies beside: %v; a %q, a-wal %q", err, read("a"), read("a-wal"))
	}
	if any, err := Rename(filepath.Join(folder, "none"), filepath.Join(folder, "b")); any || err != nil {
		t.Errorf("where nothing is: %v, %v", any, err)
	}
	if any, err := Rename(filepath.Join(folder, "a"), filepath.Join(folder, "b")); !any || err != nil || read("b")+read("b-wal") != "filelog" || read("a")+read("a-wal") != "nonenone" {
		t.Errorf("%v; b %q, b-wal %q, a %q, a-wal %q", err, read("b"), read("b-wal"), read("a"), read("a-wal"))
	}
}

// TestCopyFile: a file that others use, or that lacks what belongs to it, is not taken
// for whole; one whose log was taken in is.
func TestCopyFile(t *testing.T) {
	folder := t.TempDir()
	from, to := filepath.Join(folder, "a"), filepath.Join(folder, "b")
	for _, name := range []string{from, from + "-wal"} {
		if err := os.WriteFile(name, []byte("x"), 0o400); err != nil {
			t.Fatal(err)
		}
	}
	if err := CopyFile(from, to); !errors.Is(err, ErrInUse) {
		t.Errorf("with a log beside it: %v", err)
	}
	if err := os.Truncate(from+"-wal", 0); err != nil {
		t.Fatal(err)
	}
	if err := CopyFile(from, to); err != nil {
		t.Errorf("with an empty log beside it: %v", err)
	}
	if info, err := os.Stat(to); err != nil || info.Size() != 1 || info.Mode().Perm() != 0o600 {
		t.Errorf("the copy: %v, %v", info, err)
	}
	if err := CopyFile(from, to); err == nil {
		t.Error("a file was written over")
	}
}

package carrier

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestFolderCarries(t *testing.T) {
	f, ctx := Folder{Path: t.TempDir()}, context.Background()
	const stn, home, ship = 0x11, 0x22, 0x33
	putAs := func(slot string, from, to uint32, parcels ...string) []string {
		t.Helper()
		var contents [][]byte
		for _, parcel := range parcels {
			contents = append(contents, []byte(parcel))
		}
		names, err := f.Put(ctx, from, to, slot, contents)
		if err != nil {
			t.Fatal(err)
		}
		return names
	}
	put := func(from, to uint32, data string) string {
		t.Helper()
		return putAs("log", from, to, data)[0]
	}
	list := func(site uint32) []string {
		t.Helper()
		names, err := f.List(ctx, site)
		if err != nil {
			t.Fatal(err)
		}
		return names
	}
	first := put(stn, home, "one")
	relayed := put(ship, home, "two")
	put(home, stn, "for the station")
	for name, data := range map[string]string{".pulk-half": "x", "letter.txt": "x", "a-b-c-d.parcel": "x", "00000011-00000022-log.parcel": "x", "00000011-00000022-log-0a-1.parcel": "x", "11-00000022-log-0a.parcel": "x"} {
		if err := os.WriteFile(filepath.Join(f.Path, name), []byte(data), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if got := list(home); len(got) != 2 || !slices.Contains(got, first) || !slices.Contains(got, relayed) {
		t.Errorf("for home: %v; want %s and %s alone", got, first, relayed)
	}
	if data, err := f.Read(ctx, first); err != nil || string(data) != "one" {
		t.Errorf("read %q, %v", data, err)
	}
	second := put(stn, home, "one and more")
	if got := list(home); slices.Contains(got, first) || !slices.Contains(got, second) || !slices.Contains(got, relayed) {
		t.Errorf("after a newer bundle of the same sender: %v; want it in place of %s", got, first)
	}
	if again := put(stn, home, "one and more"); again != second {
		t.Errorf("the same bundle again is called %s, before %s", again, second)
	}
	pair := putAs("asked", stn, home, "fragment one", "fragment two")
	if got := list(home); len(got) != 4 || !slices.Contains(got, second) || !slices.Contains(got, pair[0]) || !slices.Contains(got, pair[1]) {
		t.Errorf("after two parcels under another slot: %v; want %s, %s and %v", got, second, relayed, pair)
	}
	if site, ok := f.Sender(pair[1]); site != stn || !ok {
		t.Errorf("%s is from %08x, %v; want %08x", pair[1], site, ok, stn)
	}
	putAs("asked", stn, home, "fragment two")
	if got := list(home); slices.Contains(got, pair[0]) || !slices.Contains(got, pair[1]) || !slices.Contains(got, second) {
		t.Errorf("after one of the two again: %v; want %s alone of %v", got, pair[1], pair)
	}
	if err := f.Done(ctx, second); err != nil {
		t.Fatal(err)
	}
	if got := list(home); slices.Contains(got, second) {
		t.Errorf("taken, and still listed: %v", got)
	}
	if _, err := os.Stat(filepath.Join(f.Path, "taken", second)); err != nil {
		t.Errorf("what was taken is kept aside: %v", err)
	}
}

func TestWriteFileWholeOrNotAtAll(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "x.bundle")
	for _, data := range [][]byte{[]byte("old"), bytes.Repeat([]byte("new"), 10_000)} {
		if err := WriteFile(path, data); err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadFile(path); err != nil || !bytes.Equal(got, data) {
			t.Errorf("%d bytes, %v; want %d", len(got), err, len(data))
		}
	}
	if err := WriteFile(filepath.Join(folder, "none", "x.bundle"), []byte("x")); err == nil {
		t.Error("wrote into a folder that is not there")
	}
	entries, err := os.ReadDir(folder)
	if err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
}

func TestReadFileBounds(t *testing.T) {
	path := filepath.Join(t.TempDir(), "large.bundle")
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := file.Truncate(MaxFile + 1); err != nil { // sparse: takes no room
		t.Fatal(err)
	}
	file.Close()
	if _, err := ReadFile(path); err == nil || !strings.Contains(err.Error(), "larger than") {
		t.Errorf("a file over the limit: %v", err)
	}
}

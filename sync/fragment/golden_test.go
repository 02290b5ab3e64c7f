package fragment

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the golden fragments anew; never those of a released form")

const vectorsPath = "../../testdata/fragment/vectors.txt"

// vectors returns what the golden file holds: lines of a name and a value.
func vectors(t testing.TB) string {
	t.Helper()
	parcel, err := os.ReadFile("../../testdata/bundle/check_off.bundle")
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	for _, way := range []struct {
		name  string
		share float64
	}{{"plain", 0}, {"parity", 0.5}} {
		c, list := cutAll(t, parcel, 48, way.share)
		fmt.Fprintf(&out, "%s.cut name %s data %d parity %d size %d length %d\n", way.name, c.Name, c.Data, c.Parity, c.Size, c.Length)
		for _, f := range list {
			fmt.Fprintf(&out, "%s.%d %x\n", way.name, f.Place, f.Encode())
		}
	}
	for _, way := range []struct {
		name     string
		length   int
		maxBytes int
	}{{"middle", 6_000, 100}, {"large", 40_000, 160}} {
		c, list := cutAll(t, largeParcel()[:way.length], way.maxBytes, 0.25)
		fmt.Fprintf(&out, "%s.cut name %s data %d parity %d size %d length %d\n", way.name, c.Name, c.Data, c.Parity, c.Size, c.Length)
		sum := sha256.New()
		for _, f := range list {
			sum.Write(f.Encode())
		}
		fmt.Fprintf(&out, "%s.sha256 %x\n", way.name, sum.Sum(nil))
	}
	for _, row := range []struct {
		name    string
		data    int
		missing []int
	}{{"all", 37, readAll(nil, 37)}, {"runs", 37, []int{3, 4, 5, 6, 7, 8, 9, 10, 30}}, {"gaps", 300, []int{7, 51, 90, 133, 170, 222, 291}}, {"bits", 37, []int{0, 2, 3, 6, 9, 11, 12, 14, 17, 19, 22}}} {
		data := Request{Name: Name{0xb1, 0x7e, 0x5c, 0x0d}, Data: row.data, Missing: row.missing}.Encode(0)
		fmt.Fprintf(&out, "request.%s %x\nrequest.%s.places %s\nrequest.%s.code %s\n", row.name, data, row.name, strings.Trim(fmt.Sprint(row.missing), "[]"), row.name, Code(data))
	}
	return out.String()
}

// largeParcel is 40,000 bytes of SHA-256 in counter mode.
func largeParcel() []byte {
	var out []byte
	for n := uint32(0); len(out) < 40_000; n++ {
		digest := sha256.Sum256(binary.BigEndian.AppendUint32([]byte("pulk vector "), n))
		out = append(out, digest[:]...)
	}
	return out
}

// TestGolden holds what is written, parity of both fields included, to what was
// written before.
func TestGolden(t *testing.T) {
	got := vectors(t)
	if *update {
		if err := os.WriteFile(vectorsPath, []byte(got), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(vectorsPath)
	if err != nil || string(want) != got {
		t.Errorf("%s differs from what is written now, %v:\n%s", vectorsPath, err, got)
	}
	for _, line := range strings.Split(string(want), "\n") {
		name, value, _ := strings.Cut(line, " ")
		if strings.HasPrefix(name, "plain.") && name != "plain.cut" {
			data, err := hex.DecodeString(value)
			if err != nil {
				t.Fatal(err)
			}
			if f, err := Parse(data); err != nil || !bytes.Equal(f.Encode(), data) {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
}

// TestReader has a reader in another language, written from the document, join the
// golden fragments, by parity too, and read the requests.
func TestReader(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("python3 is not here")
	}
	out, err := exec.Command(python, "../../testdata/fragment/reader.py").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "all as they should be") {
		t.Errorf("%v\n%s", err, out)
	}
}

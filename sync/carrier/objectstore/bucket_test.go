package objectstore

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/minio/minio-go/v7"

	"pulk/sync/carrier"
)

const stn, home, ship = 0x0b41a87d, 0x04bc4484, 0x77e10c05

// startStore runs an object store that other people made, Versity's S3 gateway over
// a folder, and returns its address. .ci/run builds it.
func startStore(t *testing.T) string {
	t.Helper()
	program, err := filepath.Abs("../../../.ci/s3/bin/versitygw")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(program); err != nil {
		t.Skip("no object store to test with; build it with: go -C .ci/s3 build -o bin/ github.com/versity/versitygw/cmd/versitygw")
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := listener.Addr().String()
	listener.Close()
	folder, side := t.TempDir(), t.TempDir()
	if err := os.Mkdir(filepath.Join(folder, "vindur"), 0o700); err != nil {
		t.Fatal(err)
	}
	command := exec.Command(program, "--access", "crate", "--secret", "crate-secret", "--port", address, "--quiet", "--health", "/health", "posix", "--sidecar", side, folder)
	var said bytes.Buffer
	command.Stdout, command.Stderr = &said, &said
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		command.Process.Kill()
		command.Wait()
		if t.Failed() {
			t.Logf("the store said:\n%s", said.Bytes())
		}
	})
	for range 200 {
		if response, err := http.Get("http://" + address + "/health"); err == nil {
			response.Body.Close()
			return address
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("the store did not start:\n%s", said.Bytes())
	return ""
}

func must[T any](t *testing.T) func(T, error) T {
	return func(value T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return value
	}
}

func TestBucketCarries(t *testing.T) {
	address, ctx := startStore(t), t.Context()
	clock := time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC)
	open := func(prefix, secret string) *Bucket {
		return must[*Bucket](t)(Open("s3+http://"+address+"/vindur"+prefix, "crate", secret, func() time.Time { clock = clock.Add(time.Second); return clock }))
	}
	b := open("/deep", "crate-secret")
	parcel := func(n int, fill byte) []byte { return append([]byte("\xb5p"), bytes.Repeat([]byte{fill}, n)...) }
	old, one, two, large := parcel(5, 'o'), parcel(10, '1'), parcel(20, '2'), parcel(6_000_000, 'L')
	put := func(from, to uint32, slot string, parcels ...[]byte) {
		t.Helper()
		must[[]string](t)(b.Put(ctx, from, to, slot, parcels))
	}
	put(stn, home, "log", old)
	put(ship, home, "log", one)
	put(stn, home, "log", large, two) // takes the place of the first; in this order
	put(stn, home, "log", large, two) // again
	put(stn, ship, "log", one)
	foreign := "deep/04bc4484/readme.txt"
	if _, err := b.client.PutObject(ctx, "vindur", foreign, strings.NewReader("hello"), 5, minio.PutObjectOptions{}); err != nil {
		t.Fatal(err)
	}

	keys := must[[]string](t)(b.List(ctx, home))
	want := [][]byte{one, large, two}
	if len(keys) != len(want) {
		t.Fatalf("listed %q", keys)
	}
	for i, key := range keys {
		if got := must[[]byte](t)(b.Read(ctx, key)); !bytes.Equal(got, want[i]) {
			t.Errorf("%s: %d bytes, want %d", key, len(got), len(want[i]))
		}
	}
	if from, ok := b.Sender(keys[0]); !ok || from != ship {
		t.Errorf("sender of %s: %08x, %v", keys[0], from, ok)
	}
	for range 2 {
		if err := b.Done(ctx, keys[1]); err != nil {
			t.Error(err)
		}
	}
	if left := must[[]string](t)(b.List(ctx, home)); !slices.Equal(left, []string{keys[0], keys[2]}) {
		t.Errorf("left %q", left)
	}
	if others := must[[]string](t)(b.List(ctx, ship)); len(others) != 1 {
		t.Errorf("for ship %q", others)
	}
	if elsewhere := must[[]string](t)(open("", "crate-secret").List(ctx, home)); len(elsewhere) != 0 {
		t.Errorf("under another prefix %q", elsewhere)
	}
	if _, err := b.client.StatObject(ctx, "vindur", foreign, minio.StatObjectOptions{}); err != nil {
		t.Errorf("an object that is not ours: %v", err)
	}
	if _, err := open("", "guess").List(ctx, home); err == nil || !strings.Contains(err.Error(), "does not let this key in") {
		t.Errorf("with another key: %v", err)
	}
	nowhere := must[*Bucket](t)(Open("s3+http://"+address+"/elsewhere", "crate", "crate-secret", time.Now))
	if _, err := nowhere.List(ctx, home); err == nil || !strings.Contains(err.Error(), "the store has no bucket elsewhere") {
		t.Errorf("another bucket: %v", err)
	}
}

// TestManyObjects lists more than one page of a store's answers.
func TestManyObjects(t *testing.T) {
	address, ctx := startStore(t), context.Background()
	b := must[*Bucket](t)(Open("s3+http://"+address+"/vindur", "crate", "crate-secret", time.Now))
	var parcels [][]byte
	for i := range 1_050 {
		parcels = append(parcels, fmt.Appendf(nil, "\xb5f%d", i))
	}
	must[[]string](t)(b.Put(ctx, stn, home, "log", parcels))
	keys := must[[]string](t)(b.List(ctx, home))
	if len(keys) != len(parcels) {
		t.Fatalf("listed %d of %d", len(keys), len(parcels))
	}
	if got := must[[]byte](t)(b.Read(ctx, keys[1_049])); !bytes.Equal(got, parcels[1_049]) {
		t.Errorf("the last is %q", got)
	}
}

func TestOpenRefuses(t *testing.T) {
	for _, address := range []string{"", "s3://", "s3://host", "s3://host/", "https://host/bucket", "s3:///bucket", "s3://ho st/b"} {
		if _, err := Open(address, "a", "b", time.Now); err == nil {
			t.Errorf("took %q", address)
		}
	}
}

// TestBucketIsBounded lists what a store says that lies there: far more than is looked at
// in one go, and answers that no store gives.
func TestBucketIsBounded(t *testing.T) {
	page := func(from int) string {
		var b strings.Builder
		b.WriteString("<ListBucketResult><IsTruncated>true</IsTruncated><NextContinuationToken>more</NextContinuationToken>")
		for i := range pageObjects {
			fmt.Fprintf(&b, "<Contents><Key>%08x/%s-%05d-%s</Key><Size>1</Size></Contents>", home, timeFormat(time.UnixMilli(int64(from))), i, carrier.NameOf(stn, home, "log", []byte{byte(i), byte(from), byte(from >> 8)}))
		}
		return b.String() + "</ListBucketResult>"
	}
	for _, test := range []struct {
		name   string
		answer func(page int) string
		want   int // or refused
	}{
		{"many", page, maxObjects},
		{"one page of nothing", func(int) string { return "<ListBucketResult>" + strings.Repeat("<Contents/>", maxAnswerMarks) }, 0},
		{"one long name", func(int) string { return "<ListBucketResult>" + strings.Repeat("x", maxAnswerBytes) }, 0},
	} {
		pages := 0
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Query().Has("location") {
				io.WriteString(w, "<LocationConstraint/>")
				return
			}
			pages++
			io.WriteString(w, test.answer(pages))
		}))
		b := must[*Bucket](t)(Open("s3+http://"+strings.TrimPrefix(server.URL, "http://")+"/vindur", "crate", "crate-secret", time.Now))
		if keys, err := b.List(t.Context(), home); len(keys) != test.want || (err == nil) != (test.want > 0) {
			t.Errorf("%s: %d parcels, want %d, %v", test.name, len(keys), test.want, err)
		}
		server.Close()
	}
}

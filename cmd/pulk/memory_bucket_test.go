package main

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"pulk/sync/carrier"
	"pulk/sync/clock"
)

// TestMemoryBucket does as TestMemory does with what an object store answers. The
// program is built for buckets, which takes a minute where nothing of it is built yet.
func TestMemoryBucket(t *testing.T) {
	if runtime.GOOS != "linux" || testing.Short() {
		t.Skip("the peak of a process is read as Linux tells it; not in a short test")
	}
	m := newMemory(t, "-tags", "s3")
	keys := filepath.Join(t.TempDir(), "keys")
	if err := os.WriteFile(keys, []byte("crate\ncrate-secret\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, store := range []struct {
		name   string
		taken  bool
		listed func(page int) string
	}{
		{"many_others", true, func(page int) string { return listedObjects("of-others", m.home, 200, page < 500) }},
		{"parcels_of_nothing", false, func(int) string { return "<ListBucketResult>" + strings.Repeat("<Contents/>", 3_000_000) }},
		{"endless_name", false, func(int) string { return "<ListBucketResult>" + strings.Repeat("x", 100<<20) }},
		{"large_parcels", false, func(int) string { return listedObjects("000001799100000", m.home, 3, false) }},
	} {
		t.Run(store.name, func(t *testing.T) {
			page, got := 0, 0
			server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				query := r.URL.Query()
				switch {
				case query.Has("location"):
					io.WriteString(w, "<LocationConstraint/>")
				case query.Has("list-type"):
					page++
					io.WriteString(w, store.listed(page))
				case store.name == "large_parcels" && got < 3:
					got++
					w.Header().Set("Last-Modified", "Tue, 05 Jan 2027 08:00:00 GMT")
					w.Header().Set("ETag", `"0"`)
					w.Write(append([]byte{0xb5, 0x70, 1, byte(got)}, make([]byte, carrier.MaxFile-4)...))
				case r.Method == http.MethodPut:
					w.Header().Set("ETag", `"0"`)
				default:
					http.NotFound(w, r)
				}
			}))
			defer server.Close()
			m.within(t, store.taken, "exchange", "s3+http://"+strings.TrimPrefix(server.URL, "http://")+"/vindur", "--token-file", keys, "--store", m.store(t))
		})
	}
}

// listedObjects is a page of a listing of n objects for a site: of parcels, where the
// time is one.
func listedObjects(time string, home clock.SiteID, n int, more bool) string {
	var b strings.Builder
	fmt.Fprintf(&b, "<ListBucketResult><IsTruncated>%t</IsTruncated><NextContinuationToken>more</NextContinuationToken>", more)
	for i := range n {
		fmt.Fprintf(&b, "<Contents><Key>%08x/%s-%05d-%s</Key><Size>1</Size></Contents>", uint32(home), time, i, carrier.NameOf(1, uint32(home), "log", fmt.Append(nil, i)))
	}
	return b.String() + "</ListBucketResult>"
}

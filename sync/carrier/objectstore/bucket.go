// Package objectstore carries parcels through a bucket of an object store that
// speaks the S3 protocol, for home institutions that outgrow one machine.
package objectstore

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strings"
	"time"

	"github.com/minio/minio-go/v7"
	"github.com/minio/minio-go/v7/pkg/credentials"

	"pulk/sync/carrier"
)

// Bucket is a bucket, or what lies below a prefix in one. A parcel is the object
// PREFIX/TO/TIME-PLACE-NAME: TO is the addressee's id, so that a site lists what is
// for it alone and a store's own rules can keep sites apart; TIME is Unix
// milliseconds by the sender's clock and PLACE its place among those left together,
// so that objects list in the order in which they are to be taken.
type Bucket struct {
	client *minio.Client
	bucket string
	prefix string
	now    func() time.Time
}

// Open returns the bucket at an address s3://HOST[:PORT]/BUCKET[/PREFIX], or
// s3+http://… without TLS, which is for a store on this machine. Nothing is asked
// of the store yet.
func Open(address, accessKey, secretKey string, now func() time.Time) (*Bucket, error) {
	place, err := url.Parse(address)
	if err != nil {
		return nil, err
	}
	bucket, prefix, _ := strings.Cut(strings.Trim(place.Path, "/"), "/")
	if place.Host == "" || bucket == "" || place.Scheme != "s3" && place.Scheme != "s3+http" {
		return nil, fmt.Errorf("%s is no bucket: write s3://HOST[:PORT]/BUCKET[/PREFIX]", address)
	}
	secure := place.Scheme == "s3"
	transport, err := minio.DefaultTransport(secure)
	if err != nil {
		return nil, err
	}
	client, err := minio.New(place.Host, &minio.Options{Creds: credentials.NewStaticV4(accessKey, secretKey, ""), Secure: secure,
		BucketLookup: minio.BucketLookupAuto, Transport: bounded{transport}})
	if err != nil {
		return nil, err
	}
	return &Bucket{client: client, bucket: bucket, prefix: prefix, now: now}, nil
}

// shelf is what the keys of the objects for a site begin with.
func (b *Bucket) shelf(to uint32) string { return path.Join(b.prefix, fmt.Sprintf("%08x", to)) + "/" }

// object is a parcel in the bucket.
type object struct {
	key  string
	name carrier.Name
}

// maxObjects bounds how many parcels are looked at in one go; when those are taken the
// next ones show.
const maxObjects = 40_000

// objects returns the first parcels for a site in order, of those that are asked for.
// Other objects are passed over.
func (b *Bucket) objects(ctx context.Context, to uint32, asked func(carrier.Name) bool) ([]object, error) {
	ctx, enough := context.WithCancel(ctx)
	defer enough() // the listing goes on in the background
	shelf := b.shelf(to)
	var list []object
	for info := range b.client.ListObjects(ctx, b.bucket, minio.ListObjectsOptions{Prefix: shelf, MaxKeys: pageObjects}) {
		if info.Err != nil {
			return nil, explain(info.Err)
		}
		if name, ok := parseKey(strings.TrimPrefix(info.Key, shelf)); ok && name.To == to && asked(name) {
			list = append(list, object{info.Key, name})
		}
		if len(list) == maxObjects {
			break
		}
	}
	slices.SortFunc(list, func(a, c object) int { return cmp.Compare(a.key, c.key) })
	return list, ctx.Err()
}

// parseKey returns the name in TIME-PLACE-NAME.
func parseKey(rest string) (carrier.Name, bool) {
	parts := strings.SplitN(rest, "-", 3)
	if len(parts) != 3 || len(parts[0]) != len(timeFormat(time.Time{})) {
		return carrier.Name{}, false
	}
	return carrier.ParseName(parts[2])
}

func timeFormat(t time.Time) string { return fmt.Sprintf("%015d", max(0, t.UnixMilli())) }

// List returns the keys of the parcels for a site, in the order in which they were
// left.
func (b *Bucket) List(ctx context.Context, site uint32) ([]string, error) {
	objects, err := b.objects(ctx, site, func(carrier.Name) bool { return true })
	var keys []string
	for _, o := range objects {
		keys = append(keys, o.key)
	}
	return keys, err
}

// Sender returns the site that left a listed parcel, as its key says.
func (b *Bucket) Sender(key string) (uint32, bool) {
	name, ok := parseKey(path.Base(key))
	return name.From, ok
}

// Read returns the content of a listed parcel.
func (b *Bucket) Read(ctx context.Context, key string) ([]byte, error) {
	content, err := b.client.GetObject(ctx, b.bucket, key, minio.GetObjectOptions{})
	if err != nil {
		return nil, explain(err)
	}
	defer content.Close()
	var data bytes.Buffer
	data.Grow(carrier.MaxFile + 1 + bytes.MinRead) // to grow by steps would take twice that
	_, err = data.ReadFrom(io.LimitReader(content, carrier.MaxFile+1))
	if err == nil && data.Len() > carrier.MaxFile {
		err = fmt.Errorf("it has more than %d bytes, the most that is taken", carrier.MaxFile)
	}
	return data.Bytes(), explain(err)
}

// Done removes a parcel that was taken.
func (b *Bucket) Done(ctx context.Context, key string) error {
	return explain(b.client.RemoveObject(ctx, b.bucket, key, minio.RemoveObjectOptions{}))
}

// Put leaves parcels for a site, those that lie there already excepted, and then
// removes others of the same sender, addressee and slot.
func (b *Bucket) Put(ctx context.Context, from, to uint32, slot string, parcels [][]byte) ([]string, error) {
	prefix := carrier.Name{From: from, To: to, Slot: slot}.Prefix()
	there, err := b.objects(ctx, to, func(name carrier.Name) bool { return strings.HasPrefix(name.String(), prefix) })
	if err != nil {
		return nil, err
	}
	at := timeFormat(b.now())
	var names []string
	for i, parcel := range parcels {
		name := carrier.NameOf(from, to, slot, parcel)
		names = append(names, name.String())
		if slices.ContainsFunc(there, func(o object) bool { return o.name == name }) {
			continue
		}
		key := fmt.Sprintf("%s%s-%05d-%s", b.shelf(to), at, i, name)
		_, err := b.client.PutObject(ctx, b.bucket, key, bytes.NewReader(parcel), int64(len(parcel)), minio.PutObjectOptions{ContentType: "application/octet-stream"})
		if err != nil {
			return nil, explain(err)
		}
	}
	for _, o := range there {
		if !slices.Contains(names, o.name.String()) {
			if err := b.Done(ctx, o.key); err != nil {
				return nil, err
			}
		}
	}
	return names, nil
}

// MaxParcelBytes returns the most that is read of a parcel.
func (b *Bucket) MaxParcelBytes() int { return carrier.MaxFile }

// explain says in words what the answers of a store mean that people meet.
func explain(err error) error {
	var answer minio.ErrorResponse
	if !errors.As(err, &answer) {
		return err
	}
	switch {
	case answer.Code == "NoSuchBucket":
		return fmt.Errorf("the store has no bucket %s; make it there, or name another: %w", answer.BucketName, err)
	case answer.StatusCode == http.StatusForbidden || answer.StatusCode == http.StatusUnauthorized:
		return fmt.Errorf("the store does not let this key in; see who may use the bucket: %w", err)
	}
	return err
}

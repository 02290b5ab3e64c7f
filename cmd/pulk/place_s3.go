//go:build s3

package main

import (
	"strings"

	"pulk/schema/fault"
	"pulk/sync/carrier/objectstore"
	"pulk/sync/transfer"
)

// bucketFor returns the carrier through a bucket of an object store. This program
// was built for it, with -tags s3.
func (c *call) bucketFor(address string) (transfer.Carrier, error) {
	path := c.String("token-file")
	if path == "" {
		return nil, fault.Misuse("give --token-file FILE, with the access key in its first line and the secret key in its second", "an object store asks for keys")
	}
	data, err := readInput(path)
	if err != nil {
		return nil, err
	}
	keys := strings.Fields(string(data))
	if len(keys) != 2 {
		return nil, fault.Misuse("write the access key in the first line and the secret key in the second", "%s does not hold two keys", path)
	}
	bucket, err := objectstore.Open(address, keys[0], keys[1], c.env.now)
	if err != nil {
		return nil, fault.Misuse("see: pulk exchange --help", "%s", err)
	}
	return bucket, nil
}

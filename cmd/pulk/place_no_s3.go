//go:build !s3

package main

import (
	"pulk/schema/fault"
	"pulk/sync/transfer"
)

// bucketFor refuses: object stores are for home institutions, and this is the
// program that crews carry. See docs/decisions/carriers.md.
func (c *call) bucketFor(address string) (transfer.Carrier, error) {
	return nil, fault.Misuse("build one that can: go build -tags s3 -o pulk ./cmd/pulk", "%s: this pulk was built without object stores", address)
}

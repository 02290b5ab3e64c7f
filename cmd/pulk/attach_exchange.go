package main

import (
	"bytes"
	"context"
	"fmt"

	"pulk/checklist/attach"
	"pulk/sync/changelog"
	"pulk/sync/transfer"
)

// takeAttachment returns what takes the parcels of attachments.
func (c *call) takeAttachment(log *changelog.Log) func(context.Context, []byte) (string, error) {
	return func(ctx context.Context, parcel []byte) (string, error) {
		taken, err := attach.Take(ctx, log, bytes.NewReader(parcel), c.env.now())
		if err != nil {
			return "", err
		}
		a := taken.Attachments[0]
		var id string
		err = log.View(ctx, func(tx *changelog.Tx) error { id = tx.Name(a.ID); return nil })
		said := fmt.Sprintf("attachment %s, %s, %s: whole, and as it was signed", id, a.Name, bytesText(a.SizeBytes))
		if taken.Already {
			said = fmt.Sprintf("attachment %s, %s: here before; nothing changed", id, a.Name)
		}
		return said, err
	}
}

// loads returns what lists the contents that go to a site: those that it waits for, or
// with --all-attachments all that are here.
func (c *call) loads(log *changelog.Log) func(context.Context, changelog.PeerState) ([]transfer.Load, error) {
	return func(ctx context.Context, peer changelog.PeerState) ([]transfer.Load, error) {
		var loads []transfer.Load
		err := log.View(ctx, func(tx *changelog.Tx) error {
			list, err := attach.Outgoing(tx, peer.Site, c.Bool("all-attachments"))
			for _, a := range list {
				loads = append(loads, transfer.Load{Slot: a.Slot(), Bytes: a.ParcelBytes(), Says: "attachment " + tx.Name(a.ID) + ", " + a.Name,
					Parcel: func(ctx context.Context) ([]byte, error) { return parcelOf(ctx, log, a) }})
			}
			return err
		})
		return loads, err
	}
}

func parcelOf(ctx context.Context, log *changelog.Log, a *attach.Attachment) ([]byte, error) {
	parcel := bytes.NewBuffer(make([]byte, 0, a.ParcelBytes()))
	err := log.View(ctx, func(tx *changelog.Tx) error { return attach.WriteParcel(tx, a, parcel) })
	return parcel.Bytes(), err
}

package transfer

import (
	"context"
	"encoding/hex"

	"pulk/sync/changelog"
)

// Request says what to make for another site.
type Request struct {
	changelog.Request
}

// Parcel is one thing for a carrier to move.
type Parcel struct {
	Kind Kind
	Data []byte
}

// Made tells what was made.
type Made struct {
	*changelog.Made // the bundle
	// Parcels are what to send, in order: the bundle.
	Parcels []Parcel
}

// Make packs for another site what it has not said that it has.
func (d *Desk) Make(ctx context.Context, request Request) (*Made, error) {
	request.Now = d.Now
	made, err := d.Log.Make(ctx, request.Request)
	if err != nil {
		return nil, err
	}
	return &Made{Made: made, Parcels: []Parcel{{Bundle, made.Data}}}, nil
}

// Bytes returns the size of all parcels together.
func (m *Made) Bytes() int {
	sum := 0
	for _, p := range m.Parcels {
		sum += len(p.Data)
	}
	return sum
}

func hexOf(data []byte) string { return hex.EncodeToString(data) }

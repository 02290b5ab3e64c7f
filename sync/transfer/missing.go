package transfer

import (
	"context"

	"pulk/schema"
	"pulk/sync/fragment"
)

// Lack is a parcel of which fragments are missing, and the request for them.
type Lack struct {
	Set
	Request fragment.Request
}

// Missing returns the parcels of which some fragments are here and that are not
// taken, those that began to come first.
func (d *Desk) Missing(ctx context.Context) ([]Lack, error) {
	var list []Lack
	err := d.Log.Store().View(ctx, func(tx *schema.Tx) error {
		all, err := sets(tx, "WHERE done = 0")
		for _, s := range all {
			if err != nil {
				return err
			}
			var l Lack
			l.Set = s
			l.Request, err = missingOf(tx, s)
			list = append(list, l)
		}
		return err
	})
	return list, err
}

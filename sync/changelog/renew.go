package changelog

import (
	"fmt"
	"os"
	"syscall"

	"pulk/sync/change"
	"pulk/sync/clock"
)

// renew starts the next epoch of this site.
func (tx *Tx) renew() error {
	epoch := tx.log.self.Epoch
	table, err := tx.laneTable()
	if err != nil {
		return err
	}
	for _, l := range table.all() {
		if l.name.Site == tx.log.self.Site {
			epoch = max(epoch, l.name.Epoch)
		}
	}
	epoch = max(epoch, uint16(max(tx.passed, 1)-1))
	if epoch >= change.MaxEpoch {
		return fmt.Errorf("this site has used all %d epochs: set up a new site", change.MaxEpoch)
	}
	if tx.adding != nil {
		return fmt.Errorf("a change-set is being written")
	}
	tx.log.self.Epoch = epoch + 1
	if err := tx.setMeta("epoch", int64(epoch+1)); err != nil {
		return err
	}
	return tx.rememberFile()
}

// meet notes that others have, or knew, a change-set of a lane that is not here. Of
// this site's own lanes that proves that the store was restored or copied: its next
// numbers may be in use, so it must renew before it writes.
func (tx *Tx) meet(lane clock.Lane) {
	if lane.Site == tx.log.self.Site && lane.Epoch >= tx.log.self.Epoch {
		tx.passed = max(tx.passed, int(lane.Epoch)+1)
	}
}

// fileMark names the store's file: a copy made by ordinary means has another.
func (tx *Tx) fileMark() string {
	info, err := os.Stat(tx.log.store.Path())
	if err != nil {
		return ""
	}
	if system, ok := info.Sys().(*syscall.Stat_t); ok {
		return fmt.Sprintf("inode %d", system.Ino)
	}
	return ""
}

func (tx *Tx) rememberFile() error { return tx.setMeta("file", tx.fileMark()) }

// renewIfCopied starts a new epoch where the store's file is not the one that was
// last written: it may be a copy or a restored backup, and the original may have
// used the next numbers already. A file restored in place is not noticed here,
// but when a bundle brings change-sets of this site that it does not have.
func (tx *Tx) renewIfCopied() (bool, error) {
	known, err := tx.metaText("file")
	if err != nil {
		return false, err
	}
	if mark := tx.fileMark(); mark == "" || mark == known {
		return false, nil
	}
	return true, tx.renew()
}

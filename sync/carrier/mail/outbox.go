package mail

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// MaildirSender queues mails in a maildir, from which a mail system sends them.
type MaildirSender struct {
	Maildir Maildir
}

// Send delivers the mails, those whose parcel still lies there excepted, and takes
// others of the same slot away. Mails in a maildir have lines ending in LF alone.
func (s MaildirSender) Send(ctx context.Context, mails []Outgoing) error {
	fresh := map[string]bool{}
	for _, mail := range mails {
		fresh[mail.Parcel.String()] = true
		lies, err := s.queued(mail.Parcel.String())
		if err == nil {
			err = ctx.Err()
		}
		if err == nil && len(lies) == 0 {
			text := bytes.ReplaceAll(mail.Message, []byte("\r\n"), []byte("\n"))
			err = s.Maildir.Deliver(mail.Key, text)
		}
		if err != nil {
			return err
		}
	}
	if len(mails) == 0 {
		return nil
	}
	earlier, err := s.queued(mails[0].Parcel.Prefix())
	for _, path := range earlier {
		_, parcel, _ := strings.Cut(filepath.Base(path), ".")
		if fresh[parcel] {
			continue
		}
		if gone := os.Remove(path); gone != nil && !errors.Is(gone, fs.ErrNotExist) {
			err = errors.Join(err, gone)
		}
	}
	return err
}

// queued returns the paths of mails not sent yet whose parcel's name begins with a
// text.
func (s MaildirSender) queued(prefix string) ([]string, error) {
	folder := filepath.Join(s.Maildir.Path, "new")
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, err
	}
	var paths []string
	for _, entry := range entries {
		if _, parcel, found := strings.Cut(entry.Name(), "."); found && strings.HasPrefix(parcel, prefix) {
			paths = append(paths, filepath.Join(folder, entry.Name()))
		}
	}
	return paths, nil
}

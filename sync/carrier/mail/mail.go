package mail

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	netmail "net/mail"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"pulk/sync/carrier"
)

// DefaultMaxMessage is how large a mail may be where nothing is said: most
// gateways let 10 MB pass (common practice).
const DefaultMaxMessage = 10_000_000

// Site is a site as mail knows it.
type Site struct {
	Code    string
	Address netmail.Address
}

// Outgoing is a mail on its way out.
type Outgoing struct {
	From, To string // addresses
	Parcel   carrier.Name
	Key      string // no other mail has ever had it: the time, and the parcel's name, which has the sites' ids
	Message  []byte // lines ending in CRLF
}

// Sender sends mails off, or queues them.
type Sender interface {
	// Send hands over mails of one sender to one addressee, whose parcels all lie in
	// one slot. When it returns nil they are on their way; else some of them may be.
	// Earlier mails of the same slot that have not left yet need not leave any more.
	Send(ctx context.Context, mails []Outgoing) error
}

// Mail carries parcels by mail. Parcels for this site are found in Inbox; a mail
// of which all have been taken is moved to cur with the flag S, other mails are
// never touched.
type Mail struct {
	Self       uint32 // this site
	Inbox      Maildir
	Outbox     Sender
	Campaign   string
	Sites      map[uint32]Site // whom mails are for and from
	MaxMessage int             // bytes of a mail; 0: DefaultMaxMessage
	Now        func() time.Time

	listed map[string]opened // mails in which something waited at the last List, by key
}

// opened is a mail with what was found in it, without the data.
type opened struct {
	path  string
	found []Attachment
}

// nameOf returns the name of a parcel in the inbox: the mail's key and the number of
// the parcel in it, from 1.
func nameOf(key string, number int) string { return key + "#" + strconv.Itoa(number) }

func parseName(name string) (key string, number int, err error) {
	i := strings.LastIndexByte(name, '#')
	if i > 0 {
		number, err = strconv.Atoi(name[i+1:])
	}
	if i <= 0 || err != nil || number < 1 {
		return "", 0, fmt.Errorf("%q names no parcel in a maildir", name)
	}
	return name[:i], number, nil
}

// List returns the names of the parcels for a site that were not taken yet, the
// oldest mail first. Attachments that lost the name which says whom they are for
// are among them.
func (m *Mail) List(ctx context.Context, site uint32) ([]string, error) {
	mails, err := m.Inbox.mails()
	if err != nil {
		return nil, err
	}
	notes, err := openMemo(m.Inbox, site)
	if err != nil {
		return nil, err
	}
	var names []string
	m.listed = map[string]opened{}
	learned := false
	for _, mail := range mails {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if notes.isFinished(mail.key) {
			continue
		}
		found, numbers, err := m.waiting(mail, site, notes)
		if errors.Is(err, fs.ErrNotExist) {
			continue // moved away meanwhile: seen next time
		}
		if err != nil {
			return nil, err
		}
		for _, number := range numbers {
			names = append(names, nameOf(mail.key, number))
		}
		if len(numbers) == 0 {
			notes.finish(mail.key)
			learned = true
		} else {
			m.listed[mail.key] = opened{mail.path, found}
		}
	}
	if learned {
		err = notes.keep(mails)
	}
	return names, err
}

// waiting returns the parcels in a mail, without the data, and the numbers of those that
// are for a site and not taken yet.
func (m *Mail) waiting(mail stored, site uint32, notes *memo) (found []Attachment, numbers []int, err error) {
	found, err = open(mail.path, func(int) (bool, int) { return false, 0 })
	if err != nil {
		return nil, nil, err
	}
	for i, attachment := range found {
		name, named := carrier.ParseName(attachment.Name)
		if (!named || name.To == site) && !slices.Contains(notes.taken[mail.key], i+1) {
			numbers = append(numbers, i+1)
		}
	}
	return found, numbers, nil
}

// open returns the parcels in a mail, with the data of those that are asked for; none if
// it is not one that we can read.
func open(path string, asked func(number int) (yes bool, size int)) ([]Attachment, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	found, err := parcelsIn(file, asked)
	if failed := (*fs.PathError)(nil); errors.As(err, &failed) {
		return nil, err // the disk, not the mail
	}
	return found, nil
}

// mail returns a mail as it was at the last List, if it is still there, or else as it is
// found now: a mail box may hold so many that each is not to be looked for again.
func (m *Mail) mail(key string) (opened, error) {
	if mail, ok := m.listed[key]; ok {
		if _, err := os.Lstat(mail.path); err == nil {
			return mail, nil
		}
	}
	there, err := m.Inbox.find(key)
	if err != nil {
		return opened{}, err
	}
	found, err := open(there.path, func(int) (bool, int) { return false, 0 })
	return opened{there.path, found}, err
}

// Read returns a listed parcel.
func (m *Mail) Read(ctx context.Context, name string) ([]byte, error) {
	key, number, err := parseName(name)
	if err != nil {
		return nil, err
	}
	mail, err := m.mail(key)
	if err != nil {
		return nil, err
	}
	if number <= len(mail.found) {
		size := mail.found[number-1].Bytes
		mail.found, err = open(mail.path, func(n int) (bool, int) { return n == number, size })
		if err != nil {
			return nil, err
		}
	}
	if number > len(mail.found) {
		return nil, fmt.Errorf("mail %s holds %d parcels, not %d", mail.path, len(mail.found), number)
	}
	return mail.found[number-1].Data, nil
}

// Sender returns the site that sent a listed parcel, as the name of the attachment
// says, if it still does.
func (m *Mail) Sender(name string) (uint32, bool) {
	key, number, err := parseName(name)
	if err != nil {
		return 0, false
	}
	mail, err := m.mail(key)
	if err != nil || number > len(mail.found) {
		return 0, false
	}
	parcel, named := carrier.ParseName(mail.found[number-1].Name)
	return parcel.From, named
}

// Done remembers that this site has taken a parcel, and moves its mail to cur when
// nothing in it waits for this site any more.
func (m *Mail) Done(ctx context.Context, name string) error {
	key, number, err := parseName(name)
	if err != nil {
		return err
	}
	mails, err := m.Inbox.mails()
	if err != nil {
		return err
	}
	notes, err := openMemo(m.Inbox, m.Self)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(mails, func(mail stored) bool { return mail.key == key })
	if i < 0 || notes.isFinished(key) {
		return nil // taken before, or somebody took the mail away: the parcel was taken all the same
	}
	notes.note(key, number)
	_, left, err := m.waiting(mails[i], m.Self, notes)
	if err != nil {
		return err
	}
	if len(left) == 0 {
		notes.finish(key)
	}
	// Remembered before it is moved: a cut between the two loses nothing.
	if err := notes.keep(mails); err != nil || len(left) > 0 {
		return err
	}
	return m.Inbox.see(mails[i])
}

// Reaches reports whether a site has a mail address.
func (m *Mail) Reaches(_ context.Context, site uint32) (bool, error) {
	return m.Sites[site].Address.Address != "", nil
}

// Put sends parcels to a site, each as a mail of its own, so that what one gateway
// loses is one parcel. Mails of the same slot that still lie in the outbox are
// taken back.
func (m *Mail) Put(ctx context.Context, from, to uint32, slot string, parcels [][]byte) ([]string, error) {
	letter, err := m.letter(from, to, slot)
	if err != nil {
		return nil, err
	}
	var names []string
	var mails []Outgoing
	for _, parcel := range parcels {
		letter.Name, letter.Data = carrier.NameOf(from, to, slot, parcel), parcel
		message := letter.Bytes()
		if limit := m.maxMessage(); len(message) > limit {
			return nil, &TooLargeError{Bytes: len(message), Limit: limit, Parcel: len(parcel), MaxParcel: letter.MaxData(limit)}
		}
		names = append(names, letter.Name.String())
		mails = append(mails, Outgoing{From: letter.From.Address, To: letter.To.Address, Parcel: letter.Name, Key: fmt.Sprintf("%d.%s", letter.Date.Unix(), letter.Name), Message: message})
	}
	if err := m.Outbox.Send(ctx, mails); err != nil {
		return nil, fmt.Errorf("mail to %s: %w", letter.To.Address, err)
	}
	return names, nil
}

// letter returns the mail between two sites, without a parcel.
func (m *Mail) letter(from, to uint32, slot string) (Letter, error) {
	sender, addressee := m.Sites[from], m.Sites[to]
	for _, s := range []struct {
		id   uint32
		site Site
	}{{from, sender}, {to, addressee}} {
		if s.site.Address.Address == "" {
			return Letter{}, &NoAddressError{Site: s.id, Code: s.site.Code}
		}
	}
	return Letter{From: sender.Address, To: addressee.Address, FromCode: sender.Code, ToCode: addressee.Code, Campaign: m.Campaign,
		Date: m.Now(), Name: carrier.NameOf(from, to, slot, nil)}, nil
}

func (m *Mail) maxMessage() int {
	if m.MaxMessage == 0 {
		return DefaultMaxMessage
	}
	return m.MaxMessage
}

const longestSlot = "00000000000000000000000000000000"

// MaxParcelBytes returns the size of the largest parcel that fits a mail of this
// site to any other, in a slot with the longest name that there is.
func (m *Mail) MaxParcelBytes() int {
	least := carrier.MaxFile
	for to := range m.Sites {
		if letter, err := m.letter(m.Self, to, longestSlot); err == nil && to != m.Self {
			least = min(least, letter.MaxData(m.maxMessage()))
		}
	}
	return max(least, 1) // 0 would mean no limit
}

// NoAddressError says that nobody told the mail address of a site.
type NoAddressError struct {
	Site uint32
	Code string
}

func (e *NoAddressError) Error() string {
	if e.Code == "" {
		return fmt.Sprintf("no mail address is known for site %08x", e.Site)
	}
	return "no mail address is known for site " + e.Code
}

// TooLargeError says that a mail would exceed the limit of the gateway.
type TooLargeError struct {
	Bytes, Limit      int // of the mail
	Parcel, MaxParcel int
}

func (e *TooLargeError) Error() string {
	return fmt.Sprintf("a parcel of %d bytes makes a mail of %d, over the limit of %d: at most %d fit", e.Parcel, e.Bytes, e.Limit, max(e.MaxParcel, 0))
}

package carrier

import (
	"crypto/sha256"
	"fmt"
	"regexp"
	"strconv"
)

// Name is what a parcel goes by on its way, written FROM-TO-SLOT-DIGEST.parcel: the
// ids of its sender and its addressee, the slot that it lies in and the start of
// its SHA-256. The same parcel has the same name wherever it passes.
type Name struct {
	From, To uint32
	Slot     string // 1 to 32 of a-z and 0-9
	Digest   string // 12 hexadecimal digits
}

// NameOf returns the name of a parcel.
func NameOf(from, to uint32, slot string, parcel []byte) Name {
	digest := sha256.Sum256(parcel)
	return Name{from, to, slot, fmt.Sprintf("%x", digest[:6])}
}

// Prefix is what the names of all parcels in the same slot, from the same sender
// for the same addressee, begin with.
func (n Name) Prefix() string { return fmt.Sprintf("%08x-%08x-%s-", n.From, n.To, n.Slot) }

func (n Name) String() string { return n.Prefix() + n.Digest + extension }

var namePattern = regexp.MustCompile(`^([0-9a-f]{8})-([0-9a-f]{8})-([a-z0-9]{1,32})-([0-9a-f]{12})\.parcel$`)

// ParseName returns the parts of a name. A text that String gives for no Name is
// none.
func ParseName(name string) (Name, bool) {
	parts := namePattern.FindStringSubmatch(name)
	if parts == nil {
		return Name{}, false
	}
	return Name{hex32(parts[1]), hex32(parts[2]), parts[3], parts[4]}, true
}

// hex32 reads 8 hexadecimal digits.
func hex32(digits string) uint32 {
	n, err := strconv.ParseUint(digits, 16, 32)
	if err != nil {
		panic(err) // the pattern lets nothing else through
	}
	return uint32(n)
}

// LooksLikeParcel reports whether data begins with the two bytes that every parcel
// begins with: b5 and a letter for what it is.
func LooksLikeParcel(data []byte) bool {
	return len(data) >= 2 && data[0] == 0xb5 && data[1] >= 'a' && data[1] <= 'z'
}

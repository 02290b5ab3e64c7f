package attach

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
)

// Marks in a JPEG (ITU-T T.81, table B.1).
const (
	markScan      = 0xda
	markEnd       = 0xd9
	markApp0      = 0xe0
	markApp1      = 0xe1
	markApp14     = 0xee
	maxSegments   = 4096
	exifIntro     = "Exif\x00\x00"
	orientationID = 0x0112
)

// lookAtJPEG reads the segments of a JPEG: the bounds, how the samples lie, and which
// way up it is. It goes on behind the first scan, to the end, as what the colours mean
// may be told late.
func lookAtJPEG(source io.Reader) (facts, error) {
	r := bufio.NewReader(source)
	f := facts{format: "jpeg", orientation: 1}
	bad := func(what string) error { return fmt.Errorf("%w that can be read: a JPEG %s", ErrNoPicture, what) }
	if _, err := r.Discard(2); err != nil {
		return f, bad("that ends at once")
	}
	var colours jpegColours
	scanned := false
	for segments := 0; segments < maxSegments; {
		mark, err := nextMark(r)
		switch {
		case mark >= 0xd0 && mark <= 0xd7: // these stand alone
			continue
		case err != nil && !scanned:
			return f, bad("that ends before its picture")
		case err != nil || mark == markEnd || mark == markScan && !scanned:
			if f.width == 0 || f.height == 0 {
				return f, bad("without bounds")
			}
			if err != nil || mark == markEnd {
				f.turned = colours.turned()
				return f, nil
			}
			scanned = true
		}
		segments++
		body, err := segment(r)
		if err != nil && !scanned {
			return f, bad("that ends before its picture")
		}
		switch {
		case mark >= 0xc0 && mark <= 0xcf && mark != 0xc4 && mark != 0xc8 && mark != 0xcc:
			if colours.components != nil || !f.takeFrame(mark, body) {
				return f, bad("whose bounds cannot be read, or are told twice")
			}
			colours.components = body[5:]
		case mark == markApp1:
			if n := orientationOf(body); n != 0 {
				f.orientation = n
			}
		case mark == markApp0:
			colours.jfif = colours.jfif || bytes.HasPrefix(body, []byte("JFIF\x00"))
		case mark == markApp14:
			colours.plain = colours.plain || len(body) >= 12 && bytes.HasPrefix(body, []byte("Adobe")) && body[11] == 0
		}
	}
	return f, bad("with too many segments")
}

// jpegColours is what tells whether the samples of a JPEG are red, green and blue, or
// four inks, rather than brightness and two colours.
type jpegColours struct {
	components []byte // their number, then three bytes for each, the first its name
	jfif       bool   // JFIF (ITU-T T.871): they are not
	plain      bool   // an Adobe segment says that nothing was transformed
}

// turned returns the bytes that four pixels take when they are turned into such
// colours.
func (c jpegColours) turned() int {
	named := len(c.components) >= 10 && c.components[1] == 'R' && c.components[4] == 'G' && c.components[7] == 'B'
	if len(c.components) > 0 && (c.components[0] == 4 || c.components[0] == 3 && !c.jfif && (c.plain || named)) {
		return 16
	}
	return 0
}

// The decoder of the standard library meets the same marks in the same bytes, so that
// what is worked out here is what it will decode.

// nextMark returns the next mark; what stands before it, and filling, is left out.
func nextMark(r *bufio.Reader) (byte, error) {
	for {
		b, err := r.ReadByte()
		for err == nil && b == 0xff {
			if b, err = r.ReadByte(); err == nil && b != 0 && b != 0xff {
				return b, nil
			}
		}
		if err != nil {
			return 0, err
		}
	}
}

// segment reads what follows a mark; at most 64 KiB by its own length field.
func segment(r *bufio.Reader) ([]byte, error) {
	var length [2]byte
	if _, err := io.ReadFull(r, length[:]); err != nil {
		return nil, err
	}
	n := int(binary.BigEndian.Uint16(length[:]))
	if n < 2 {
		return nil, io.ErrUnexpectedEOF
	}
	body := make([]byte, n-2)
	_, err := io.ReadFull(r, body)
	return body, err
}

// takeFrame reads a frame header (T.81, B.2.2): 8 bits, lines, samples a line, then
// three bytes a component, the second with how often it is sampled.
func (f *facts) takeFrame(mark byte, body []byte) bool {
	if len(body) < 6 || len(body) < 6+3*int(body[5]) || body[5] == 0 || body[5] > 4 {
		return false
	}
	f.progressive = mark == 0xc2
	f.height, f.width = int(binary.BigEndian.Uint16(body[1:])), int(binary.BigEndian.Uint16(body[3:]))
	most, sum := 1, 0
	for i := range int(body[5]) {
		h, v := int(body[7+3*i]>>4), int(body[7+3*i]&15)
		most, sum = max(most, h*v), sum+h*v
	}
	// Four pixels' worth, by the component that is sampled most.
	f.samples = (4*sum + most - 1) / most
	return true
}

// orientationOf returns the orientation in an EXIF segment (TIFF 6.0, section 2; CIPA
// DC-008), 1 to 8; 0 where there is none.
func orientationOf(body []byte) int {
	if len(body) < len(exifIntro)+8 || string(body[:len(exifIntro)]) != exifIntro {
		return 0
	}
	tiff := body[len(exifIntro):]
	var order binary.ByteOrder
	switch string(tiff[:4]) {
	case "II*\x00":
		order = binary.LittleEndian
	case "MM\x00*":
		order = binary.BigEndian
	default:
		return 0
	}
	at := uint64(order.Uint32(tiff[4:]))
	if at+2 > uint64(len(tiff)) {
		return 0
	}
	count := uint64(order.Uint16(tiff[at:]))
	for i := range count {
		entry := at + 2 + 12*i
		if entry+12 > uint64(len(tiff)) {
			return 0
		}
		if order.Uint16(tiff[entry:]) != orientationID {
			continue
		}
		if n := int(order.Uint16(tiff[entry+8:])); order.Uint16(tiff[entry+2:]) == 3 && n >= 1 && n <= 8 {
			return n
		}
		return 0
	}
	return 0
}

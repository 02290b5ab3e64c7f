package attach

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"image/png"
	"math/rand/v2"
	"testing"
)

// quarters is a picture whose top left quarter is red, whose top right one is green,
// with blue below; all of it is noisy by so much.
func quarters(width, height, noise int) *image.RGBA {
	r := rand.New(rand.NewPCG(1, 2))
	picture := image.NewRGBA(image.Rect(0, 0, width, height))
	for y := range height {
		for x := range width {
			c := color.RGBA{20, 20, 220, 255}
			if y < height/2 {
				c = color.RGBA{220, 20, 20, 255}
				if x >= width/2 {
					c = color.RGBA{20, 220, 20, 255}
				}
			}
			if noise > 0 {
				c.R, c.G, c.B = c.R+uint8(r.IntN(noise)), c.G+uint8(r.IntN(noise)), c.B+uint8(r.IntN(noise))
			}
			picture.SetRGBA(x, y, c)
		}
	}
	return picture
}

func asJPEG(t testing.TB, picture image.Image) []byte {
	var out bytes.Buffer
	if err := jpeg.Encode(&out, picture, &jpeg.Options{Quality: 90}); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// withExif puts an EXIF segment behind the start of a JPEG: an orientation, in one of
// the byte orders, and a mark that stands for where it was taken.
func withExif(picture []byte, orientation uint16, order binary.AppendByteOrder) []byte {
	tiff := []byte("MM\x00*")
	if order == binary.AppendByteOrder(binary.LittleEndian) {
		tiff = []byte("II*\x00")
	}
	tiff = order.AppendUint32(tiff, 8)
	tiff = order.AppendUint16(tiff, 2)
	tiff = order.AppendUint32(order.AppendUint16(order.AppendUint16(tiff, 0x0100), 3), 1)
	tiff = order.AppendUint16(order.AppendUint16(tiff, 7), 0)
	tiff = order.AppendUint32(order.AppendUint16(order.AppendUint16(tiff, orientationID), 3), 1)
	tiff = order.AppendUint16(order.AppendUint16(tiff, orientation), 0)
	tiff = append(order.AppendUint32(tiff, 0), "GPSLatitude 72.5"...)
	body := append([]byte(exifIntro), tiff...)
	segment := binary.BigEndian.AppendUint16([]byte{0xff, markApp1}, uint16(len(body)+2))
	return append(append(append([]byte{}, picture[:2]...), append(segment, body...)...), picture[2:]...)
}

func decoded(t *testing.T, preview []byte) image.Image {
	t.Helper()
	if len(preview) > MaxPreviewBytes {
		t.Errorf("the preview has %d bytes", len(preview))
	}
	picture, err := jpeg.Decode(bytes.NewReader(preview))
	if err != nil {
		t.Fatal(err)
	}
	return picture
}

// colourAt names the colour in the middle of a quarter.
func colourAt(picture image.Image, right, bottom int) string {
	b := picture.Bounds()
	r, g, blue, _ := picture.At(b.Min.X+b.Dx()*(1+2*right)/4, b.Min.Y+b.Dy()*(1+2*bottom)/4).RGBA()
	switch max(r, g, blue) {
	case r:
		return "red"
	case g:
		return "green"
	}
	return "blue"
}

// TestPreviewIsUpright turns each of the eight orientations of CIPA DC-008 (EXIF),
// tag 274: where row 0 and column 0 of the stored picture are to be seen.
func TestPreviewIsUpright(t *testing.T) {
	stored := asJPEG(t, quarters(400, 200, 0))
	for orientation, want := range map[uint16]string{
		1: "red green wide", 2: "green red wide", 3: "blue blue wide", 4: "blue blue wide",
		5: "red blue tall", 6: "blue red tall", 7: "blue green tall", 8: "green blue tall",
	} {
		for _, order := range []binary.AppendByteOrder{binary.BigEndian, binary.LittleEndian} {
			preview, err := Preview(bytes.NewReader(withExif(stored, orientation, order)))
			if err != nil {
				t.Fatal(err)
			}
			picture := decoded(t, preview)
			got := colourAt(picture, 0, 0) + " " + colourAt(picture, 1, 0) + " wide"
			if picture.Bounds().Dx() < picture.Bounds().Dy() {
				got = got[:len(got)-4] + "tall"
			}
			if got != want {
				t.Errorf("orientation %d, %v: the upper quarters are %s, want %s", orientation, order, got, want)
			}
			if bytes.Contains(preview, []byte("GPS")) || bytes.Contains(preview, []byte("Exif")) {
				t.Errorf("the preview carries on what the file says of where it was taken")
			}
		}
	}
	// 3 and 4 have red and green below, 3 exchanged.
	for orientation, want := range map[uint16]string{3: "green", 4: "red"} {
		preview, err := Preview(bytes.NewReader(withExif(stored, orientation, binary.BigEndian)))
		if err != nil {
			t.Fatal(err)
		}
		if got := colourAt(decoded(t, preview), 0, 1); got != want {
			t.Errorf("orientation %d: the lower left quarter is %s, want %s", orientation, got, want)
		}
	}
}

// TestPreviewFitsWhateverItIsMadeOf makes previews of pictures that are small, large,
// noisy, thin, transparent, indexed and grey.
func TestPreviewFitsWhateverItIsMadeOf(t *testing.T) {
	encodePNG := func(picture image.Image) []byte {
		var out bytes.Buffer
		if err := png.Encode(&out, picture); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	encodeGIF := func(picture image.Image) []byte {
		var out bytes.Buffer
		if err := gif.Encode(&out, picture, nil); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	grey := image.NewGray(image.Rect(0, 0, 300, 300))
	for name, source := range map[string][]byte{
		"photo": asJPEG(t, quarters(1600, 1200, 60)), "tiny": encodePNG(quarters(1, 1, 0)), "thin": encodePNG(quarters(2000, 3, 9)),
		"tall": encodePNG(quarters(2, 3000, 30)), "noise": encodePNG(quarters(900, 900, 250)), "gif": encodeGIF(quarters(200, 100, 0)),
		"clear": encodePNG(image.NewNRGBA(image.Rect(0, 0, 30, 30))), "grey": asJPEG(t, grey),
	} {
		preview, err := Preview(bytes.NewReader(source))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		picture := decoded(t, preview)
		if longer := max(picture.Bounds().Dx(), picture.Bounds().Dy()); longer > 512 || longer < 1 {
			t.Errorf("%s: the preview is %v", name, picture.Bounds())
		}
		if r, _, _, _ := picture.At(0, 0).RGBA(); name == "clear" && r < 0xf000 {
			t.Errorf("what is transparent is not white: %x", r)
		}
	}
}

// TestPreviewRefusesBombs gives pictures that say they are huge: they are refused by
// their bounds, before anything is decoded.
func TestPreviewRefusesBombs(t *testing.T) {
	huge := []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x75\x30\x00\x00\x75\x30\x08\x06\x00\x00\x00") // 30,000 × 30,000
	huge = append(huge, 0x20, 0xa6, 0x9e, 0x90)
	jpegBomb := asJPEG(t, quarters(16, 16, 0))
	at := bytes.Index(jpegBomb, []byte{0xff, 0xc0})
	binary.BigEndian.PutUint16(jpegBomb[at+5:], 60000)
	binary.BigEndian.PutUint16(jpegBomb[at+7:], 60000)
	// 3,000 × 3,000 would do, but not with the coefficients of a progressive one.
	progressive := asJPEG(t, quarters(16, 16, 0))
	progressive[at+1] = 0xc2
	binary.BigEndian.PutUint16(progressive[at+5:], 3000)
	binary.BigEndian.PutUint16(progressive[at+7:], 3600)
	for name, source := range map[string][]byte{"jpeg": jpegBomb, "progressive": progressive, "gif": []byte("GIF89a\xff\xff\xff\xff\x00\x00\x00")} {
		if _, err := Preview(bytes.NewReader(source)); !errors.Is(err, ErrTooLarge) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Preview(bytes.NewReader(huge)); !errors.Is(err, ErrTooLarge) && !errors.Is(err, ErrNoPicture) {
		t.Errorf("png: %v", err)
	}
	for name, source := range map[string]string{"empty": "", "pdf": "%PDF-1.7\n", "cut": string(jpegBomb[:20]), "text": "cable jacket"} {
		if _, err := Preview(bytes.NewReader([]byte(source))); !errors.Is(err, ErrNoPicture) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

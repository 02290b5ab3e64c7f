package attach

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"image/png"
	"math/rand/v2"
	"runtime"
	"slices"
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

// pngWith returns a PNG whose head says that it is interlaced, or that has a chunk tRNS
// in front of its picture.
func pngWith(t testing.TB, picture image.Image, interlaced bool, transparent []byte) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := png.Encode(&out, picture); err != nil {
		t.Fatal(err)
	}
	data := out.Bytes()
	const head, end = 8, 33 // of the first chunk
	if interlaced {
		data[end-5] = 1
		binary.BigEndian.PutUint32(data[end-4:], crc32.ChecksumIEEE(data[head+4:end-4]))
	}
	if transparent == nil {
		return data
	}
	chunk := append(binary.BigEndian.AppendUint32(nil, uint32(len(transparent))), append([]byte("tRNS"), transparent...)...)
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
	return slices.Concat(data[:end], chunk, data[end:])
}

// jpegWith returns a JPEG that is changed as the names of its components or its frame's
// mark are, and with a segment behind its start or behind its scan.
func jpegWith(t testing.TB, picture image.Image, names string, progressive bool, first, last []byte) []byte {
	t.Helper()
	data := asJPEG(t, picture)
	frame, scan := bytes.Index(data, []byte{0xff, 0xc0}), bytes.Index(data, []byte{0xff, markScan})
	for i, name := range []byte(names) {
		data[frame+10+3*i], data[scan+5+2*i] = name, name
	}
	if progressive {
		data[frame+1] = 0xc2
		data[scan+5+2*int(data[scan+4])+1] = 0 // the scan holds the first coefficients alone
	}
	end := len(data) - 2
	return slices.Concat(data[:2], first, data[2:end], last, data[end:])
}

// TestDecodedBytesAreAll decodes each sort of picture, the rarer ones too, and holds
// what that takes against what was worked out before. Some are cut short: what they
// take they have taken by then.
func TestDecodedBytesAreAll(t *testing.T) {
	bounds := image.Rect(0, 0, 1500, 1100)
	colours := image.NewYCbCr(bounds, image.YCbCrSubsampleRatio420)
	gray, gray16 := image.NewGray(bounds), image.NewGray16(bounds)
	adobe := append([]byte{0xff, markApp14, 0, 14}, "Adobe\x00\x00\x00\x00\x00\x00\x00"...)
	jfif := append([]byte{0xff, markApp0, 0, 16}, "JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00"...)
	var animation bytes.Buffer
	if err := gif.Encode(&animation, image.NewPaletted(bounds, color.Palette{color.Black, color.White}), nil); err != nil {
		t.Fatal(err)
	}
	interlaced := bytes.Clone(animation.Bytes())
	interlaced[bytes.IndexByte(interlaced[13:], ',')+13+9] |= 0x40
	for _, picture := range []struct {
		name string
		data []byte
		most int64 // times what is taken that may be worked out
	}{
		{"jpeg", jpegWith(t, colours, "", false, nil, nil), 2},
		{"jpeg_gray", jpegWith(t, gray, "", false, nil, nil), 2},
		{"jpeg_rgb", jpegWith(t, colours, "RGB", false, nil, nil), 2},
		{"jpeg_rgb_in_jfif", jpegWith(t, colours, "RGB", false, jfif, nil), 2},
		{"jpeg_adobe", jpegWith(t, colours, "", false, adobe, nil), 2},
		{"jpeg_adobe_last", jpegWith(t, colours, "", false, nil, adobe), 2},
		{"jpeg_progressive", jpegWith(t, colours, "", true, nil, nil), 2},
		{"jpeg_progressive_rgb", jpegWith(t, colours, "RGB", true, nil, nil), 2},
		{"png_gray", pngWith(t, gray, false, nil), 2},
		{"png_gray_transparent", pngWith(t, gray, false, []byte{0, 7}), 2},
		{"png_gray_interlaced", pngWith(t, gray, true, nil), 2},
		{"png_gray16", pngWith(t, gray16, false, nil), 2},
		{"png_gray16_transparent", pngWith(t, gray16, false, []byte{0, 7}), 2},
		{"png_deep_interlaced", pngWith(t, image.NewNRGBA64(bounds), true, nil), 2},
		{"gif", animation.Bytes(), 3},
		{"gif_interlaced", interlaced, 2},
	} {
		facts, err := look(bytes.NewReader(picture.data))
		if err != nil {
			t.Errorf("%s: %v", picture.name, err)
			continue
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, _, err = image.Decode(bytes.NewReader(picture.data))
		runtime.ReadMemStats(&after)
		const beside = 300_000 // tables and buffers of decoders
		took, said := int64(after.TotalAlloc-before.TotalAlloc), facts.decodedBytes()
		if took > said+beside || said > picture.most*took {
			t.Errorf("%s: decoding took %d bytes (and ended with %v), %d were worked out", picture.name, took, err, said)
		}
	}
}

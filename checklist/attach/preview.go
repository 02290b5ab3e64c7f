package attach

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"image/png"
	"io"

	"golang.org/x/image/draw"
)

// MaxPreviewBytes is the size that no preview exceeds. It is on the wire: a preview
// is a change, and every site of the campaign keeps it.
const MaxPreviewBytes = 12 << 10

// previewType is the media type of every preview that is made here.
const previewType = "image/jpeg"

// Limits of a picture that a preview is made of.
const (
	// maxSourceBytes is how much of a file is read at the most.
	maxSourceBytes = 64 << 20
	// maxDecodedBytes bounds the memory that decoding takes, worked out from the
	// picture's bounds before it is decoded: a small file can say that it is huge.
	maxDecodedBytes = 18 << 20
	// stripBytes bounds what scaling takes beside it.
	stripBytes = 1 << 20
)

// previewEdges are the lengths of the longer edge that are tried, in pixels.
var previewEdges = []int{512, 384, 288, 200, 128, 64}

// Errors of Preview, for callers that go on without one.
var (
	ErrNoPicture = errors.New("not a JPEG, PNG or GIF picture")
	ErrTooLarge  = errors.New("the picture is too large for a preview to be made of it")
)

// Preview makes a small JPEG of a JPEG, PNG or GIF picture: upright as its
// orientation tag says, on white where it is transparent, of an animation the first
// picture. Nothing else of the file is carried over, where it was taken least of all.
func Preview(source io.ReadSeeker) ([]byte, error) {
	facts, err := look(source)
	if err != nil {
		return nil, err
	}
	if need := facts.decodedBytes(); need > maxDecodedBytes {
		return nil, fmt.Errorf("%w: %d × %d pixels take %d MB to decode, at most %d are spent", ErrTooLarge, facts.width, facts.height, need>>20, maxDecodedBytes>>20)
	}
	decode := map[string]func(io.Reader) (image.Image, error){"jpeg": jpeg.Decode, "png": png.Decode, "gif": gif.Decode}[facts.format]
	picture, err := decode(io.LimitReader(source, maxSourceBytes))
	if err != nil {
		return nil, fmt.Errorf("%w that can be read: %w", ErrNoPicture, err)
	}
	// What is large is scaled down once, and from there to each size that is tried.
	picture = scale(picture, 2*previewEdges[0])
	for _, edge := range previewEdges {
		small := turn(scale(picture, edge), facts.orientation)
		for _, quality := range []int{72, 60, 48, 38} {
			var out bytes.Buffer
			if err := jpeg.Encode(&out, small, &jpeg.Options{Quality: quality}); err != nil {
				return nil, err
			}
			if out.Len() <= MaxPreviewBytes {
				return out.Bytes(), nil
			}
		}
	}
	return nil, fmt.Errorf("%w: even 64 pixels wide it takes more than %d bytes", ErrTooLarge, MaxPreviewBytes)
}

// facts are what is known of a picture before it is decoded.
type facts struct {
	format        string // jpeg, png, gif
	width, height int
	progressive   bool // of a JPEG
	samples       int  // bytes that its decoder keeps for four pixels
	turned        int  // bytes of four pixels that it turns these into, beside them
	orientation   int  // 1 to 8, as EXIF numbers them; 1 is upright
}

// look reads the head of a picture, and goes back to its start.
func look(source io.ReadSeeker) (facts, error) {
	f, err := lookAt(source)
	if err != nil {
		return f, err
	}
	_, err = source.Seek(0, io.SeekStart)
	return f, err
}

func lookAt(source io.ReadSeeker) (facts, error) {
	var magic [29]byte // of a PNG, up to whether it is interlaced
	n, err := io.ReadFull(source, magic[:])
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		return facts{}, err
	}
	if _, err := source.Seek(0, io.SeekStart); err != nil {
		return facts{}, err
	}
	f := facts{orientation: 1}
	var config image.Config
	head := io.LimitReader(source, maxSourceBytes)
	switch start := magic[:n]; {
	case bytes.HasPrefix(start, []byte{0xff, 0xd8, 0xff}):
		return lookAtJPEG(head)
	case bytes.HasPrefix(start, []byte("\x89PNG\r\n\x1a\n")):
		f.format = "png"
		config, err = png.DecodeConfig(head)
	case bytes.HasPrefix(start, []byte("GIF8")):
		f.format = "gif"
		config, err = gif.DecodeConfig(head)
	default:
		return f, ErrNoPicture
	}
	if err != nil {
		return f, fmt.Errorf("%w that can be read: %w", ErrNoPicture, err)
	}
	f.width, f.height, f.samples = config.Width, config.Height, 4*bytesOf(config.ColorModel)
	if f.format == "gif" {
		f.turned = f.samples // an interlaced one is put in order beside it
		return f, nil
	}
	if _, err := source.Seek(0, io.SeekStart); err != nil {
		return f, err
	}
	if (config.ColorModel == color.GrayModel || config.ColorModel == color.Gray16Model) && hasTransparency(io.LimitReader(source, maxSourceBytes)) {
		f.samples *= 4 // it becomes one of four channels
	}
	if n == len(magic) && magic[n-1] != 0 {
		f.turned = f.samples // an interlaced one is decoded into passes, beside the whole
	}
	return f, nil
}

// hasTransparency reports whether a PNG has a chunk tRNS before its picture (ISO/IEC
// 15948, 11.3.2.1): it may make one colour transparent.
func hasTransparency(source io.Reader) bool {
	r := bufio.NewReader(source)
	if _, err := r.Discard(8); err != nil {
		return false
	}
	for {
		var head [8]byte // the length of the chunk, and its type
		if _, err := io.ReadFull(r, head[:]); err != nil || string(head[4:]) == "IDAT" {
			return false
		}
		if string(head[4:]) == "tRNS" {
			return true
		}
		if _, err := io.CopyN(io.Discard, r, int64(binary.BigEndian.Uint32(head[:]))+4); err != nil { // with its check
			return false
		}
	}
}

// bytesOf returns the bytes that a pixel takes in memory.
func bytesOf(model color.Model) int {
	switch model {
	case color.GrayModel:
		return 1
	case color.Gray16Model:
		return 2
	case color.RGBAModel, color.NRGBAModel:
		return 4
	case color.RGBA64Model, color.NRGBA64Model:
		return 8
	}
	return 1 // a palette
}

// decodedBytes returns the memory that decoding takes, at the most.
func (f facts) decodedBytes() int64 {
	const edge = 32 // a JPEG's planes end at whole blocks
	pixels := (int64(f.width) + edge) * (int64(f.height) + edge)
	samples := int64(f.samples)
	if f.progressive {
		samples *= 5 // a coefficient of 4 bytes a sample, beside the samples
	}
	return pixels * (samples + int64(f.turned)) / 4
}

// scale returns a picture, on white, whose longer edge has at most so many pixels. It
// goes strip by strip, as scaling takes 32 bytes for each row's pixel at once.
func scale(picture image.Image, edge int) *image.RGBA {
	from := picture.Bounds()
	width, height := from.Dx(), from.Dy()
	if longer := max(width, height); longer > edge {
		width, height = max(1, width*edge/longer), max(1, height*edge/longer)
	}
	to := image.NewRGBA(image.Rect(0, 0, width, height))
	draw.Draw(to, to.Bounds(), image.White, image.Point{}, draw.Src)
	rows := max(1, stripBytes/(32*width)*height/from.Dy()) // of the result at once
	scalers := map[[2]int]draw.Scaler{}                    // by the rows of a strip and of what it becomes: each keeps its memory
	for top := 0; top < height; top += rows {
		end := min(top+rows, height)
		strip := image.Rect(from.Min.X, from.Min.Y+top*from.Dy()/height, from.Max.X, from.Min.Y+end*from.Dy()/height)
		size := [2]int{end - top, strip.Dy()}
		if scalers[size] == nil {
			scalers[size] = draw.BiLinear.NewScaler(width, size[0], strip.Dx(), size[1])
		}
		scalers[size].Scale(to, image.Rect(0, top, width, end), picture, strip, draw.Over, nil)
	}
	return to
}

// turn returns a picture upright, as an EXIF orientation tells how it lies (CIPA
// DC-008, tag 274).
func turn(picture *image.RGBA, orientation int) *image.RGBA {
	if orientation < 2 || orientation > 8 {
		return picture
	}
	width, height := picture.Rect.Dx(), picture.Rect.Dy()
	across, down := width, height
	if orientation >= 5 {
		across, down = height, width
	}
	upright := image.NewRGBA(image.Rect(0, 0, across, down))
	for y := range down {
		for x := range across {
			fromX, fromY := x, y
			if orientation >= 5 {
				fromX, fromY = y, x
			}
			if orientation == 2 || orientation == 3 || orientation == 7 || orientation == 8 {
				fromX = width - 1 - fromX
			}
			if orientation == 3 || orientation == 4 || orientation == 6 || orientation == 7 {
				fromY = height - 1 - fromY
			}
			upright.SetRGBA(x, y, picture.RGBAAt(fromX, fromY))
		}
	}
	return upright
}

package bundle

import (
	"encoding/binary"
	"errors"
	"fmt"
	"sync"

	"github.com/klauspost/compress/zstd"
)

// Methods of packing, in the byte after the version.
const (
	methodRaw  = 0
	methodZstd = 1
	methodMask = 0x0f
	// allPacked tells that the plain columns are packed like the others.
	allPacked = 0x80
)

// pack returns the columns in the fewest bytes, and how that was done.
func pack(t *table, sets int) ([]byte, byte, error) {
	packed, plain := &bufferWriter{}, &bufferWriter{}
	w := &wire{packed: packed, plain: plain}
	if t.carry(w, sets); w.err != nil {
		return nil, 0, w.err
	}
	if size := len(packed.buf) + len(plain.buf); size > DefaultLimits.Block {
		return nil, 0, fmt.Errorf("columns of %d bytes, at most %d", size, DefaultLimits.Block)
	}
	best, method := append(packed.buf[:len(packed.buf):len(packed.buf)], plain.buf...), byte(methodRaw)
	keep := func(candidate []byte, m byte) {
		if len(candidate) < len(best) {
			best, method = candidate, m
		}
	}
	if len(best) > 32 { // a zstd frame takes more than it could save below that
		if frame, ok := compress(packed.buf); ok {
			keep(append(frame, plain.buf...), methodZstd)
		}
		all := append(packed.buf[:len(packed.buf):len(packed.buf)], plain.buf...)
		if frame, ok := compress(all); ok {
			keep(frame, methodZstd|allPacked)
		}
	}
	return best, method, nil
}

// compress returns length and frame; false where readers would refuse its ratio.
func compress(block []byte) ([]byte, bool) {
	encoder := encoders.Get().(*zstd.Encoder)
	defer encoders.Put(encoder)
	frame := encoder.EncodeAll(block, nil)
	return append(binary.AppendUvarint(nil, uint64(len(frame))), frame...), len(block) <= DefaultLimits.block(len(frame))
}

var encoders = sync.Pool{New: func() any {
	encoder, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedBestCompression), zstd.WithEncoderConcurrency(1),
		zstd.WithEncoderCRC(false), zstd.WithSingleSegment(true), zstd.WithWindowSize(8<<20), zstd.WithLowerEncoderMem(true))
	if err != nil {
		panic(err) // wrong options: a mistake in the program
	}
	return encoder
}}

var decoders = sync.Pool{New: func() any {
	decoder, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(uint64(DefaultLimits.Block)),
		zstd.WithDecoderMaxWindow(uint64(DefaultLimits.Block)), zstd.WithDecoderLowmem(true), zstd.WithDecodeAllCapLimit(true))
	if err != nil {
		panic(err)
	}
	return decoder
}}

// unpack fills t from the packed columns of a bundle.
func unpack(t *table, sets int, data []byte, method byte, limits Limits) error {
	w := &wire{decoding: true, limits: limits}
	var packed, plain *bufferReader
	switch method &^ allPacked {
	case methodRaw:
		if method != methodRaw {
			return fmt.Errorf("method %d", method)
		}
		packed = &bufferReader{buf: data}
		plain = packed
	case methodZstd:
		block, rest, err := decompress(data, limits)
		if err != nil {
			return err
		}
		packed, plain = &bufferReader{buf: block}, &bufferReader{buf: rest}
		if method&allPacked != 0 {
			if len(rest) > 0 {
				return fmt.Errorf("%d bytes after the columns", len(rest))
			}
			plain = packed
		}
	default:
		return fmt.Errorf("columns packed by method %d; a newer program is needed", method)
	}
	w.packed, w.plain = packed, plain
	if t.carry(w, sets); w.err != nil {
		return w.err
	}
	if packed.short || plain.short {
		return errors.New("columns are cut off")
	}
	if packed.left() > 0 || plain.left() > 0 {
		return fmt.Errorf("%d bytes after the columns", packed.left()+plain.left())
	}
	return nil
}

// decompress reads a frame with its length before it, and returns its content and
// the bytes after it.
func decompress(data []byte, limits Limits) (block, rest []byte, err error) {
	length, n := binary.Uvarint(data)
	if n <= 0 || n > 1 && data[n-1] == 0 || length > uint64(len(data)-n) {
		return nil, nil, errors.New("packed columns are cut off")
	}
	frame, rest := data[n:n+int(length)], data[n+int(length):]
	var header zstd.Header
	if err := header.Decode(frame); err != nil || header.Skippable || !header.HasFCS || header.DictionaryID != 0 {
		return nil, nil, errors.New("packed columns are no zstd frame of known size")
	}
	if header.FrameContentSize > uint64(limits.block(len(frame))) {
		return nil, nil, fmt.Errorf("%d packed bytes claim to hold %d, more than the limit", len(frame), header.FrameContentSize)
	}
	decoder := decoders.Get().(*zstd.Decoder)
	defer decoders.Put(decoder)
	block, err = decoder.DecodeAll(frame, make([]byte, 0, header.FrameContentSize))
	if err != nil {
		return nil, nil, fmt.Errorf("packed columns are damaged: %w", err)
	}
	if uint64(len(block)) != header.FrameContentSize {
		return nil, nil, errors.New("packed columns are more than one frame")
	}
	return block, rest, nil
}

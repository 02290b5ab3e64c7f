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
	methodRaw   = 0
	methodZstd  = 1
	methodModel = 2
	// allPacked tells that the plain columns are packed like the others.
	allPacked = 0x80
)

// packRaw leaves the columns as they are.
func packRaw(t *table, sets int) ([]byte, byte, error) {
	all := &bufferWriter{}
	w := &wire{packed: all, plain: all}
	t.carry(w, sets)
	return all.buf, methodRaw, w.err
}

// maxModelled is how many bytes of columns the model may pack, about 28,000 changes
// of a standard day:
// it is slow, and gains most on little.
const (
	maxModelled  = 256 << 10
	wellModelled = 1 << 10 // up to here zstd has never been smaller than the model
)

// pack returns the columns in the fewest bytes, and how that was done.
func pack(t *table, sets int) ([]byte, byte, error) {
	packed, plain := &bufferWriter{}, &bufferWriter{}
	w := &wire{packed: packed, plain: plain}
	if t.carry(w, sets); w.err != nil {
		return nil, 0, w.err
	}
	size := len(packed.buf) + len(plain.buf)
	if size > DefaultLimits.Block {
		return nil, 0, fmt.Errorf("%w: columns of %d bytes, at most %d", ErrTooLarge, size, DefaultLimits.Block)
	}
	all := append(packed.buf[:len(packed.buf):len(packed.buf)], plain.buf...)
	best, method := all, byte(methodRaw)
	keep := func(candidate []byte, unpacked int, m byte) {
		if len(candidate) < len(best) && unpacked <= DefaultLimits.block(len(candidate)) {
			best, method = candidate, m
		}
	}
	if len(packed.buf) <= maxModelled {
		keep(append(t.modelled(sets, false), plain.buf...), size, methodModel)
		if size <= maxModelled && len(compress(plain.buf)) < len(plain.buf)*9/10 { // not as random as it should be
			keep(t.modelled(sets, true), size, methodModel|allPacked)
		}
	}
	if method == methodRaw || size > wellModelled {
		keep(append(compress(packed.buf), plain.buf...), len(packed.buf), methodZstd)
		keep(compress(all), size, methodZstd|allPacked)
	}
	return best, method, nil
}

// modelled returns length and modelled columns, with the plain ones or without.
func (t *table) modelled(sets int, all bool) []byte {
	m := models.Get().(*model)
	defer models.Put(m)
	*m = *primed()
	writer := &modelWriter{model: m, high: 1<<32 - 1}
	w := &wire{packed: writer, plain: &bufferWriter{}}
	if all {
		w.plain = writer
	}
	t.carry(w, sets)
	frame := writer.finish()
	return append(binary.AppendUvarint(nil, uint64(len(frame))), frame...)
}

var models = sync.Pool{New: func() any { return new(model) }}

// compress returns length and zstd frame.
func compress(block []byte) []byte {
	encoder := encoders.Get().(*zstd.Encoder)
	defer encoders.Put(encoder)
	frame := encoder.EncodeAll(block, nil)
	return append(binary.AppendUvarint(nil, uint64(len(frame))), frame...)
}

// encoders pack some 4 % less well than the library's best level would, which takes
// 34 MB of tables; what mostly goes over a thin link is modelled.
var encoders = sync.Pool{New: func() any {
	encoder, err := zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedBetterCompression), zstd.WithEncoderConcurrency(1),
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
func unpack(t *table, sets int, data []byte, method byte, limits Limits, trace columnTrace) error {
	switch method {
	case methodRaw:
		all := &bufferReader{buf: data}
		return t.unpack(&wire{packed: all, plain: all, trace: trace}, sets, limits, all)
	case methodZstd, methodZstd | allPacked:
		frame, rest, err := split(data)
		if err != nil {
			return err
		}
		block, err := decompress(frame, limits)
		if err != nil {
			return err
		}
		packed, plain := &bufferReader{buf: block}, &bufferReader{buf: rest}
		if method&allPacked != 0 {
			return t.unpack(&wire{packed: packed, plain: packed, trace: trace}, sets, limits, packed, plain)
		}
		return t.unpack(&wire{packed: packed, plain: plain, trace: trace}, sets, limits, packed, plain)
	case methodModel, methodModel | allPacked:
		frame, rest, err := split(data)
		if err != nil {
			return err
		}
		return t.unmodel(sets, frame, rest, method&allPacked != 0, limits, trace)
	}
	return fmt.Errorf("columns packed by method %d; a newer program is needed", method)
}

// unpack reads the columns, and checks that the readers gave all and no more.
func (t *table) unpack(w *wire, sets int, limits Limits, readers ...*bufferReader) error {
	w.decoding, w.limits = true, limits
	if t.carry(w, sets); w.err != nil {
		return w.err
	}
	for _, r := range readers {
		if r.short {
			return errors.New("columns are cut off")
		}
		if r.left() > 0 {
			return fmt.Errorf("%d bytes after the columns", r.left())
		}
	}
	return nil
}

// unmodel reads modelled columns.
func (t *table) unmodel(sets int, frame, rest []byte, all bool, limits Limits, trace columnTrace) error {
	m := models.Get().(*model)
	defer models.Put(m)
	*m = *primed()
	packed := newModelReader(m, frame, min(maxModelled, limits.block(len(frame))))
	plain := &bufferReader{buf: rest}
	w := &wire{packed: packed, plain: plain, trace: trace}
	if all {
		w.plain = packed
	}
	if err := t.unpack(w, sets, limits, plain); err != nil {
		return err
	}
	if packed.short || !packed.finished() {
		return errors.New("packed columns do not end where they should")
	}
	return nil
}

// split takes a frame with its length before it off data.
func split(data []byte) (frame, rest []byte, err error) {
	length, n := binary.Uvarint(data)
	if n <= 0 || n > 1 && data[n-1] == 0 || length > uint64(len(data)-n) {
		return nil, nil, errors.New("packed columns are cut off")
	}
	return data[n : n+int(length)], data[n+int(length):], nil
}

// decompress returns the content of a zstd frame.
func decompress(frame []byte, limits Limits) ([]byte, error) {
	var header zstd.Header
	if err := header.Decode(frame); err != nil || header.Skippable || !header.HasFCS || header.DictionaryID != 0 {
		return nil, errors.New("packed columns are no zstd frame of known size")
	}
	if header.FrameContentSize > uint64(limits.block(len(frame))) {
		return nil, fmt.Errorf("%d packed bytes claim to hold %d, more than the limit", len(frame), header.FrameContentSize)
	}
	decoder := decoders.Get().(*zstd.Decoder)
	defer decoders.Put(decoder)
	block, err := decoder.DecodeAll(frame, make([]byte, 0, header.FrameContentSize))
	if err != nil {
		return nil, fmt.Errorf("packed columns are damaged: %w", err)
	}
	if uint64(len(block)) != header.FrameContentSize {
		return nil, errors.New("packed columns are more than one frame")
	}
	return block, nil
}

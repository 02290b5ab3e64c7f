package link

import (
	"fmt"
	"math"
	"time"
)

// Budget is what a link lets through, and what it takes for it.
type Budget struct {
	// SendBitsPerSecond and ReceiveBitsPerSecond are the rates as seen from the site
	// that the link is described for. No rate back is a link without a way back:
	// nobody ever hears what was lost.
	SendBitsPerSecond    float64
	ReceiveBitsPerSecond float64
	// LossShare is the share of messages that do not arrive, each by itself: 0 is
	// none; it is below 1.
	LossShare float64
	// OverheadBytes is what the carrier adds to each message, MessageBytesMax what a
	// message may hold beside it (0: any size). HeaderBytes of that go to telling
	// the fragments of a bundle apart, where a bundle takes several messages.
	OverheadBytes   int
	MessageBytesMax int
	HeaderBytes     int
	// ParityShare is how many messages more are sent, as a share, so that any that
	// make up the bundle's number rebuild it.
	ParityShare float64
	// CentsPerByte is the price of a byte on the link, overhead included.
	CentsPerByte float64
}

// Check returns an error that names the first value that no link can have.
func (b Budget) Check() error {
	finite := func(x float64) bool { return x >= 0 && !math.IsInf(x, 1) }
	switch {
	case !finite(b.SendBitsPerSecond) || b.SendBitsPerSecond == 0:
		return fmt.Errorf("the rate out is %g bit/s; it must be above 0", b.SendBitsPerSecond)
	case !finite(b.ReceiveBitsPerSecond):
		return fmt.Errorf("the rate back is %g bit/s; it must be 0 (no way back) or above", b.ReceiveBitsPerSecond)
	case !finite(b.LossShare) || b.LossShare >= 1:
		return fmt.Errorf("the loss is %g of all messages; it must be from 0 to below 1", b.LossShare)
	case b.OverheadBytes < 0:
		return fmt.Errorf("the overhead is %d bytes a message; it must be 0 or above", b.OverheadBytes)
	case b.HeaderBytes < 0:
		return fmt.Errorf("the fragment header is %d bytes; it must be 0 or above", b.HeaderBytes)
	case b.MessageBytesMax < 0 || b.MessageBytesMax > 0 && b.MessageBytesMax <= b.HeaderBytes:
		return fmt.Errorf("a message holds at most %d bytes; it must be 0 (any size) or above the %d of a fragment's header", b.MessageBytesMax, b.HeaderBytes)
	case !finite(b.ParityShare) || b.ParityShare > 10:
		return fmt.Errorf("the parity is %g of the messages; it must be from 0 to 10", b.ParityShare)
	case !finite(b.CentsPerByte):
		return fmt.Errorf("the price is %g cents a byte; it must be 0 or above", b.CentsPerByte)
	}
	return nil
}

// Cost is what it takes to send something.
type Cost struct {
	Messages  int // parity included
	LinkBytes int // on the link, overhead, headers and parity included
	Time      time.Duration
	Cents     float64
}

// Cost returns what a bundle of payloadBytes takes when nothing is lost. Nothing to
// send still takes a message: the word of what has arrived.
func (b Budget) Cost(payloadBytes int) Cost {
	data := b.messages(payloadBytes)
	parity := b.parity(data)
	link := payloadBytes + data*b.OverheadBytes
	if data > 1 || parity > 0 {
		link += data * b.HeaderBytes
	}
	link += parity * b.parityMessageBytes(payloadBytes)
	return Cost{
		Messages: data + parity, LinkBytes: link, Time: b.sendTime(float64(link)),
		Cents: float64(link) * b.CentsPerByte,
	}
}

// room is what a message holds of a bundle that takes several.
func (b Budget) room() int { return b.MessageBytesMax - b.HeaderBytes }

// messages returns how many messages the payload itself takes.
func (b Budget) messages(payloadBytes int) int {
	switch {
	case b.MessageBytesMax == 0:
		return 1
	case payloadBytes <= b.MessageBytesMax && b.ParityShare == 0:
		return 1 // whole, without a fragment's header
	}
	return max(1, (payloadBytes+b.room()-1)/b.room())
}

// parity returns how many messages of parity go with so many of data.
func (b Budget) parity(messages int) int { return int(math.Ceil(float64(messages) * b.ParityShare)) }

// parityMessageBytes is the size of one message of parity: that of the largest one
// of data.
func (b Budget) parityMessageBytes(payloadBytes int) int {
	size := payloadBytes
	if b.MessageBytesMax > 0 {
		size = min(size, b.room())
	}
	return size + b.HeaderBytes + b.OverheadBytes
}

// sendTime is how long it takes to send so many bytes on the link.
func (b Budget) sendTime(linkBytes float64) time.Duration {
	return time.Duration(linkBytes * 8 / b.SendBitsPerSecond * float64(time.Second))
}

// LinkBytes returns how many bytes go over the link in a time, payload and overhead
// together.
func (b Budget) LinkBytes(d time.Duration) int {
	return int(math.Min(d.Seconds()*b.SendBitsPerSecond/8, linkBytesMax))
}

// linkBytesMax bounds what one contact carries: a pebibyte is as good as no limit.
const linkBytesMax = 1 << 50

// Payload returns the largest bundle, in bytes, that takes at most linkBytes. The
// second result is false where not even an empty one does.
func (b Budget) Payload(linkBytes int) (int, bool) {
	if b.Cost(0).LinkBytes > linkBytes {
		return 0, false
	}
	// Cost only rises with the payload, and is never below it.
	low, high := 0, linkBytes+1 // low fits, high does not
	for high-low > 1 {
		middle := low + (high-low)/2
		if b.Cost(middle).LinkBytes <= linkBytes {
			low = middle
		} else {
			high = middle
		}
	}
	return low, true
}

// PayloadIn returns the largest bundle, in bytes, that a time carries; 0 where it
// carries none.
func (b Budget) PayloadIn(d time.Duration) int {
	payload, _ := b.Payload(b.LinkBytes(d))
	return payload
}

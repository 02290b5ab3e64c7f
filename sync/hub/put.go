package hub

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"

	"pulk/sync/carrier"
)

// Put leaves parcels for a site in a slot, and takes back what lay there before. The
// hub knows the sender by the token.
func (c *Client) Put(ctx context.Context, from, to uint32, slot string, parcels [][]byte) ([]string, error) {
	var names, digests []string
	for _, parcel := range parcels {
		digest := hexDigest(parcel)
		if err := c.send(ctx, fmt.Sprintf("/v1/to/%08x/%s/%s", to, slot, digest), parcel); err != nil {
			return nil, err
		}
		names = append(names, carrier.NameOf(from, to, slot, parcel).String())
		digests = append(digests, digest)
	}
	body, err := json.Marshal(map[string][]string{"keep": digests})
	if err != nil {
		return nil, err
	}
	response, err := c.do(ctx, http.MethodPost, fmt.Sprintf("/v1/to/%08x/%s", to, slot), map[string]string{"Content-Type": "application/json"}, func() io.Reader { return bytes.NewReader(body) })
	if err != nil {
		return nil, err
	}
	return names, response.Body.Close()
}

// send brings one parcel to the hub, from where the hub says that it has got.
func (c *Client) send(ctx context.Context, path string, parcel []byte) error {
	furthest, again := int64(-1), 0
	for pause := c.pause; ; {
		offset, complete, err := c.progress(ctx, path)
		if err != nil || complete {
			return err
		}
		if offset > int64(len(parcel)) {
			return fmt.Errorf("the hub says that it has %d bytes of %d", offset, len(parcel))
		}
		if again++; offset > furthest {
			furthest, again, pause = offset, 0, c.pause
		}
		for err == nil && !complete {
			offset, complete, err = c.part(ctx, path, parcel, offset)
		}
		if complete {
			return nil
		}
		if isStatus(err, http.StatusUnprocessableEntity, http.StatusInsufficientStorage, http.StatusRequestEntityTooLarge, http.StatusNotFound, http.StatusUnauthorized, http.StatusBadRequest) {
			return err
		}
		if again+1 >= tries || sleep(ctx, pause) != nil {
			return fmt.Errorf("the hub has %d of %d bytes and keeps them; run it again to go on: %w", furthest, len(parcel), errors.Join(ctx.Err(), err))
		}
		pause *= 2
	}
}

// progress asks how far the hub has got with a parcel.
func (c *Client) progress(ctx context.Context, path string) (offset int64, complete bool, err error) {
	response, err := c.do(ctx, http.MethodHead, path, nil, nil)
	if err != nil {
		return 0, false, err
	}
	defer response.Body.Close()
	return progressIn(response)
}

func progressIn(response *http.Response) (offset int64, complete bool, err error) {
	offset, err = strconv.ParseInt(response.Header.Get(headerOffset), 10, 64)
	if err != nil || offset < 0 {
		return 0, false, fmt.Errorf("the hub does not say how far it has got: %q", response.Header.Get(headerOffset))
	}
	return offset, response.Header.Get(headerComplete) == "?1", nil
}

// part sends the next part of a parcel. A cut is not tried again here, as only the
// hub knows how much of the part it has.
func (c *Client) part(ctx context.Context, path string, parcel []byte, offset int64) (int64, bool, error) {
	header := map[string]string{headerOffset: strconv.FormatInt(offset, 10), headerLength: strconv.Itoa(len(parcel)), "Content-Type": "application/partial-upload"}
	rest := parcel[offset:min(int64(len(parcel)), offset+partBytes)]
	response, err := c.once(ctx, http.MethodPatch, path, header, func() io.Reader { return bytes.NewReader(rest) })
	if err != nil {
		return offset, false, err
	}
	if response.StatusCode >= 400 {
		return offset, false, answerOf(response)
	}
	defer response.Body.Close()
	next, complete, err := progressIn(response)
	if err == nil && next <= offset && !complete {
		err = fmt.Errorf("the hub got no further than byte %d", next)
	}
	return next, complete, err
}

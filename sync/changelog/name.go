package changelog

import (
	"fmt"
	"strconv"
	"strings"

	"pulk/sync/clock"
)

// People name a change, and the entity it created, by site code and number:
//
//	stn-412      number 412 in the normal lane of site stn
//	stn-x12      number 12 in its expedited lane (b: bulk, c: confined)
//	stn/2-5      number 5 in its second epoch after the first
//	stn-412.3    the fourth change of that change-set
//	stn-412~1f0a77b3  on that branch, where the lane is forked

var classLetter = map[clock.Class]string{clock.Normal: "", clock.Expedited: "x", clock.Bulk: "b", clock.Confined: "c"}

// Name returns how people name a change; "-" for none.
func (tx *Tx) Name(dot clock.Dot) string {
	if dot.IsZero() {
		return "-"
	}
	var text strings.Builder
	text.WriteString(tx.laneSite(dot.Lane))
	fmt.Fprintf(&text, "-%s%d", classLetter[dot.Class], dot.Seq)
	if dot.Index > 0 {
		fmt.Fprintf(&text, ".%d", dot.Index)
	}
	if dot.Branch != 0 {
		fmt.Fprintf(&text, "~%08x", dot.Branch)
	}
	return text.String()
}

// LaneName returns how people name a lane.
func (tx *Tx) LaneName(lane clock.Lane) string {
	text := tx.laneSite(lane) + " " + lane.Class.String()
	if lane.Branch != 0 {
		text += fmt.Sprintf("~%08x", lane.Branch)
	}
	return text
}

// SiteCode returns how people name a site: 8 hexadecimal digits where it is unknown.
func (tx *Tx) SiteCode(id clock.SiteID) string {
	if s, found, err := tx.SiteByID(id); err == nil && found {
		return s.Code
	}
	return fmt.Sprintf("%08x", uint32(id))
}

func (tx *Tx) laneSite(lane clock.Lane) string {
	text := tx.SiteCode(lane.Site)
	if lane.Epoch > 0 {
		text += fmt.Sprintf("/%d", lane.Epoch)
	}
	return text
}

// ParseName reads what Name wrote.
func (tx *Tx) ParseName(text string) (clock.Dot, error) {
	bad := fmt.Errorf("%q is no id: expected a site and a number, like stn-412", text)
	cut := strings.LastIndexByte(text, '-')
	if cut <= 0 {
		return clock.Dot{}, bad
	}
	site, rest := text[:cut], text[cut+1:]
	var dot clock.Dot
	if code, epoch, found := strings.Cut(site, "/"); found {
		n, err := strconv.ParseUint(epoch, 10, 16)
		if err != nil {
			return clock.Dot{}, bad
		}
		site, dot.Epoch = code, uint16(n)
	}
	if known, err := tx.SiteByCode(site); err == nil {
		dot.Site = known.ID
	} else if id, hexErr := strconv.ParseUint(site, 16, 32); hexErr == nil && len(site) == 8 {
		dot.Site = clock.SiteID(id)
	} else {
		return clock.Dot{}, err
	}
	if number, branch, found := strings.Cut(rest, "~"); found {
		n, err := strconv.ParseUint(branch, 16, 32)
		if err != nil {
			return clock.Dot{}, bad
		}
		rest, dot.Branch = number, uint32(n)
	}
	if number, index, found := strings.Cut(rest, "."); found {
		n, err := strconv.ParseUint(index, 10, 16)
		if err != nil {
			return clock.Dot{}, bad
		}
		rest, dot.Index = number, uint16(n)
	}
	for class, letter := range classLetter {
		if letter != "" && strings.HasPrefix(rest, letter) {
			rest, dot.Class = rest[1:], class
			break
		}
	}
	seq, err := strconv.ParseUint(rest, 10, 40)
	if err != nil || seq == 0 {
		return clock.Dot{}, bad
	}
	dot.Seq = seq
	return dot, nil
}

package bundle

import (
	"pulk/sync/change"
	"pulk/sync/clock"
)

// ref carries a ref: none, the person's last in that slot, a recent one of the
// slot, or a new one, whose parts lie in columns that all new refs share.
func (w *walker) ref(c *column, s slot, person clock.Dot, ref *clock.Dot) {
	list, habit := &w.refs[s], habit{person, s}
	last := w.lastRef[habit]
	if w.decoding {
		w.takeRef(c, list, last, ref)
	} else {
		w.putRef(c, list, last, *ref)
	}
	if w.err != nil || ref.IsZero() {
		return
	}
	if place := list.find(*ref); place >= 0 {
		list.use(place)
	} else {
		list.add(*ref)
	}
	w.lastRef[habit] = *ref
}

func (w *walker) putRef(c *column, list *recall[clock.Dot], last, ref clock.Dot) {
	place := list.find(ref)
	switch {
	case ref.IsZero():
		c.put(formNone)
	case ref == last:
		c.put(formLast)
	case place >= 0:
		c.put(formRecent + uint64(place))
	default:
		c.put(formNew)
		w.newRef(&ref)
	}
}

func (w *walker) takeRef(c *column, list *recall[clock.Dot], last clock.Dot, ref *clock.Dot) {
	switch form := c.take(); {
	case form == formNone:
		*ref = clock.Dot{}
	case form == formLast && !last.IsZero():
		*ref = last
	case form == formNew:
		if w.newRef(ref); w.err == nil && (*ref == last || list.find(*ref) >= 0) {
			w.fail("ref %s written long", ref)
		}
	case form >= formRecent && form-formRecent < uint64(len(list.recent)):
		*ref = list.recent[form-formRecent]
		if *ref == last {
			w.fail("ref %s written long", ref)
		}
	default:
		w.fail("form %d of a ref", form)
	}
}

// newRef carries a ref in full: the own lane or another, the number as a distance
// (from the set's own, or from the latest new ref to that lane), the index.
func (w *walker) newRef(ref *clock.Dot) {
	t := w.table
	form := uint64(0)
	if w.decoding {
		if form = t.refForm.take(); form > 1 {
			w.fail("form %d of a ref's lane", form)
			return
		}
	} else {
		if ref.Lane != w.set.Lane {
			form = 1
		}
		t.refForm.put(form)
	}
	if form == 0 {
		ref.Lane = w.set.Lane
		backwards := w.set.Seq - ref.Seq
		w.offset(&t.refSeq, &backwards, 0)
		ref.Seq = w.set.Seq - backwards
	} else {
		if w.lane(&t.refLane, &ref.Lane); ref.Lane == w.set.Lane {
			w.fail("own lane written long")
		}
		w.offset(&t.refSeq, &ref.Seq, w.lastSeq[ref.Lane])
		w.lastSeq[ref.Lane] = ref.Seq
	}
	index := uint64(ref.Index)
	if w.decoding {
		index = t.refIndex.take()
	} else {
		t.refIndex.put(index)
	}
	if ref.Seq == 0 || ref.Seq > clock.SeqMax || index >= change.MaxChanges {
		w.fail("ref to %s/%d.%d", ref.Lane, ref.Seq, index)
	}
	ref.Index = uint16(index)
}

// lane carries a lane.
func (w *walker) lane(l *laneColumns, lane *clock.Lane) {
	if w.decoding {
		code, extra, branch := l.code.take(), uint64(0), uint64(0)
		if code&laneExtra != 0 {
			extra = l.extra.take()
		}
		if extra&1 != 0 {
			branch = l.branch.take()
		}
		var err error
		if *lane, err = w.sites.unpack(code, extra, branch); err != nil {
			w.fail("%v", err)
		}
		return
	}
	code, extra, err := w.sites.pack(*lane)
	if err != nil {
		w.fail("%v", err)
	}
	l.code.put(code)
	if code&laneExtra != 0 {
		l.extra.put(extra)
	}
	if extra&1 != 0 {
		l.branch.put(uint64(lane.Branch))
	}
}

// rememberText puts a new text into the list, if there is one and the text is short.
func rememberText(list *recall[string], text string) {
	if list != nil && len(text) <= shortText {
		list.add(text)
	}
}

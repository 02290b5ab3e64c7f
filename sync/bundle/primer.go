package bundle

import (
	_ "embed"
	"sync"
)

// primerFile is an ordinary bundle, packed raw. A model reads its columns before
// those of any other bundle, so that a short one need not teach it what columns
// look like. It belongs to format version 1 and never changes.
//
//go:embed primer.bundle
var primerFile []byte

// primed returns a model that has read the primer. It is not to be changed.
var primed = sync.OnceValue(func() *model {
	m := new(model)
	m.reset()
	if len(primerFile) == 0 {
		return m // only while the primer itself is made
	}
	r := &headerReader{data: primerFile}
	_, _, counts := r.bundle(DefaultLimits)
	if r.fault != nil {
		panic("primer.bundle: " + r.fault.Error())
	}
	sets := 0
	for _, n := range counts {
		sets += n
	}
	all := &bufferReader{buf: r.data[r.at:r.end]}
	t := &table{}
	if err := t.unpack(&wire{packed: &trainer{all, m}, plain: all}, sets, DefaultLimits, all); err != nil {
		panic("primer.bundle: " + err.Error())
	}
	m.column, m.last = 0, 0
	return m
})

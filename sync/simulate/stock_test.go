package simulate_test

import (
	"math/rand/v2"

	"pulk/checklist/crew"
	"pulk/sync/changelog"
	"pulk/sync/clock"
)

func stockProjections() []changelog.Projector { return nil }

func setUpStock(*changelog.Tx, []clock.Dot) error { return nil }

func (m *model) sortStock(*fact) {}

func (w *world) stockDeed(m *machine, verb string, r *rand.Rand) (string, func(*changelog.Tx, *crew.Person) error) {
	return "", nil
}

func (w *world) compareStock(m *machine) {}

package packing

// whyLeft says why box i was left out.
func (j *job) whyLeft(i int) Reason {
	switch {
	case j.reason[i] != NoRoom:
		return j.reason[i]
	case j.keptApart(i):
		return KeptApart
	case j.full(i):
		return TooMuchMass
	case j.pressesTooMuch(i):
		return FloorTooWeak
	}
	return NoRoom
}

// full says whether each container that is in use and would take box i has no mass left
// for it.
func (j *job) full(i int) bool {
	b := &j.boxes[i]
	found := false
	for _, load := range j.result.Loads {
		c := &j.containers[load.Container]
		if len(standsIn(b, c)) == 0 || b.Cold && !c.Cold {
			continue
		}
		if c.MassGramsMax == 0 || load.MassGrams+b.MassGrams <= c.MassGramsMax {
			return false
		}
		found = true
	}
	return found
}

// pressesTooMuch says whether box i alone presses more on the floor of each container
// than that bears: it can only stand on others.
func (j *job) pressesTooMuch(i int) bool {
	b := &j.boxes[i]
	found := false
	for k := range j.containers {
		c := &j.containers[k]
		stands := standsIn(b, c)
		if len(stands) == 0 || b.Cold && !c.Cold {
			continue
		}
		if c.FloorKgPerM2 == 0 || len(light(b, c, stands)) > 0 {
			return false
		}
		found = true
	}
	return found
}

// keptApart says whether each container holds something that box i must be apart from.
func (j *job) keptApart(i int) bool {
	bit, ok := j.classes[j.boxes[i].Segregation]
	if !ok {
		return false
	}
	for _, load := range j.result.Loads {
		clash := false
		for _, p := range load.Placements {
			other, ok := j.classes[j.boxes[p.Box].Segregation]
			clash = clash || ok && j.apart[bit]>>other&1 == 1
		}
		if !clash {
			return false
		}
	}
	return len(j.result.Loads) > 0
}

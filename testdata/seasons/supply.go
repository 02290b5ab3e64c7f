package seasons

import "time"

// planStock plans what is bought, shipped, used, counted and thrown away.
func (w *world) planStock() {
	for i, it := range w.catalogue.items {
		if it.serialised {
			continue
		}
		// Every second item of the station's shelves lay there before.
		if shelf := shelfOf(it); i%2 == 0 && siteOf(shelf) == "stn" {
			w.planDelivery(it, shelf, records.from, level(it))
		} else {
			w.planJourney(it, calendar[0], shelf, level(it))
		}
		w.planRunSupply(it, calendar[0])
	}
	for _, it := range w.catalogue.items {
		if !it.serialised {
			w.planTopUp(it, calendar[1])
		}
	}
	w.planUse()
	w.planCounts()
	w.planScrap()
}

// level returns how much of an item the campaign likes to have on its shelf,
// in units of issue: at least what one season's runs take from there.
func level(it item) int {
	n := usualLevel(it)
	for _, procedure := range procedures {
		if placeOfUse(procedure, it) == shelfOf(it) {
			n = max(n, seasonNeed(procedure, it.part))
		}
	}
	return n
}

// usualLevel is much of what is cheap and little of what is not.
func usualLevel(it item) int {
	if n, ok := levels[it.part]; ok {
		return n
	}
	byPrice := func(cheap, fair, dear, precious int) int {
		switch {
		case it.priceCents < 500:
			return cheap
		case it.priceCents < 2500:
			return fair
		case it.priceCents < 12000:
			return dear
		}
		return precious
	}
	switch it.unit {
	case "m":
		return byPrice(300, 120, 60, 30)
	case "g", "mL":
		return 1500
	case "L":
		return byPrice(200, 40, 20, 10)
	case "kg":
		return 6
	case "each":
		return byPrice(60, 20, 8, 2)
	}
	return byPrice(20, 10, 4, 2)
}

func (w *world) planDelivery(it item, place string, date time.Time, quantity int) {
	w.agenda.add(w.workingTime(date), func(at time.Time) {
		w.stock.receive(at, it.part, place, quantity, w.expiry(it, at))
	})
}

// expiry gives a lot between nine tenths and all of its shelf life, and the
// zero time to an item without one.
func (w *world) expiry(it item, delivered time.Time) time.Time {
	if it.shelfLifeDays == 0 {
		return time.Time{}
	}
	days := it.shelfLifeDays - w.between(0, it.shelfLifeDays/10)
	return delivered.Truncate(24*time.Hour).AddDate(0, 0, days)
}

// planJourney buys an item for a season and brings it to place: the home
// store, or by ship to a shelf further on.
func (w *world) planJourney(it item, s season, place string, quantity int) {
	w.planDelivery(it, "home-store", s.buying.AddDate(0, 0, w.between(2, 26)), quantity)
	if place != "home-store" {
		w.planFreight(it, s, place, quantity)
	}
}

// planFreight carries an item from the home store over the ship to place.
func (w *world) planFreight(it item, s season, place string, quantity int) {
	hold := holdOf(it)
	w.agenda.add(w.workingTime(s.loading.AddDate(0, 0, w.between(0, 2))), func(at time.Time) {
		w.stock.draw(at, it.part, "home-store", hold, quantity, "move", "")
	})
	w.agenda.add(w.workingTime(s.unloading.AddDate(0, 0, w.between(0, 4))), func(at time.Time) {
		w.stock.draw(at, it.part, hold, place, quantity, "move", "")
	})
}

// planRunSupply buys what a season's runs use away from the item's own shelf.
func (w *world) planRunSupply(it item, s season) {
	for _, procedure := range procedures {
		place := placeOfUse(procedure, it)
		if n := seasonNeed(procedure, it.part); n > 0 && (place == "home-store" || place != shelfOf(it)) {
			w.planJourney(it, s, place, n)
		}
	}
}

// planTopUp looks at the shelf in the next buying time and fills up what has
// sunk to three quarters of its level or is about to expire.
func (w *world) planTopUp(it item, s season) {
	w.agenda.add(w.workingTime(s.buying), func(at time.Time) {
		w.planRunSupply(it, s)
		missing := level(it) - w.lasting(it.part, shelfOf(it), s.closing)
		if missing*4 < level(it) {
			return
		}
		w.planJourney(it, s, shelfOf(it), missing)
	})
}

// lasting returns how much of part in place will not have expired by date.
func (w *world) lasting(part, place string, date time.Time) int {
	n := 0
	for _, h := range w.stock.held(part, place) {
		if expiry := w.stock.expiries[h.lotKey]; expiry.IsZero() || expiry.After(date) {
			n += w.stock.balances[h]
		}
	}
	return n
}

// planUse plans the daily life of the station: each habit every few days, as
// much as its table says.
func (w *world) planUse() {
	for _, h := range habits {
		shelf := shelfOf(w.catalogue.byPart[h.part])
		date := calendar[0].unloading.AddDate(0, 0, 5)
		for ; date.Before(records.until); date = date.AddDate(0, 0, w.between(h.everyDays, h.everyDays*3/2)) {
			if h.drilling && !isDrilling(date) {
				continue
			}
			quantity := w.between(h.low, h.high)
			w.agenda.add(w.workingTime(date), func(at time.Time) {
				w.stock.draw(at, h.part, shelf, "", quantity, "issue", "")
			})
		}
	}
}

func isDrilling(date time.Time) bool {
	for _, s := range calendar {
		if !date.Before(s.drilling) && date.Before(s.drillingEnds) {
			return true
		}
	}
	return false
}

// planCounts counts the station three times; about one holding in twelve turns
// out to be a little off.
func (w *world) planCounts() {
	dates := []time.Time{calendar[0].closing.AddDate(0, 0, -2), day(2026, 8, 15), calendar[1].closing.AddDate(0, 0, -2)}
	for _, date := range dates {
		w.agenda.add(w.workingTime(date), func(at time.Time) {
			for i, h := range w.stock.held("", "") {
				if siteOf(h.place) == "stn" && w.rand.IntN(12) == 0 {
					w.correct(at.Add(time.Duration(i)*time.Minute/4), h)
				}
			}
		})
	}
}

// correct plans to book what a count found off: two times in three too little.
func (w *world) correct(at time.Time, h holding) {
	off := w.between(1, max(1, w.stock.balances[h]/20))
	found := w.rand.IntN(3) == 0
	w.agenda.add(at, func(at time.Time) {
		m := movement{at: at, of: h.lotKey, to: h.place, quantity: off, reason: "count"}
		if !found {
			m.from, m.to, m.quantity = h.place, "", min(off, w.stock.balances[h])
		}
		if m.quantity > 0 {
			w.stock.book(m)
		}
	})
}

// planScrap throws out what has expired, on the first of each month.
func (w *world) planScrap() {
	for date := records.from.AddDate(0, 1, 0); date.Before(records.until); date = date.AddDate(0, 1, 0) {
		w.agenda.add(date.Add(8*time.Hour), func(at time.Time) {
			for _, h := range w.stock.held("", "") {
				expiry := w.stock.expiries[h.lotKey]
				if expiry.IsZero() || expiry.After(at) || keepsPastDate[h.part] {
					continue
				}
				w.stock.book(movement{at: at, of: h.lotKey, from: h.place, quantity: w.stock.balances[h], reason: "scrap"})
			}
		})
	}
}

func siteOf(place string) string {
	for _, l := range locations {
		if l.code == place {
			return l.site
		}
	}
	return ""
}

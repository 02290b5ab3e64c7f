package daytest

import "fmt"

// note draws what somebody types on a cold laptop.
func (w *world) note() string {
	pick := func(texts ...string) string { return texts[w.IntN(len(texts))] }
	what := pick("winch brake", "cable drum", "hole water level", "tensioner", "connector on module", "strain relief", "penetrator O-ring",
		"hub lid", "generator 2", "drill tower heater", "battery pack", "pressure gauge", "GPS antenna", "torque wrench", "hoist", "camera line",
		"return water", "load cell", "data line", "depth counter", "hut door", "snow on the cable tray")
	state := pick("checked again, no change", "was stiff, warmed up and moves freely", "has a scratch, photo taken", "reads high when cold, wait",
		"re-seated and tested", "drips slowly, bucket under it", "replaced with the spare", "needs grease tomorrow", "OK after restart",
		"tightened a quarter turn", "shows ice, brushed off", "noisy below 10 m/min", "label was missing, written by hand", "was left open overnight",
		"looks better than yesterday", "to be watched by the night shift")
	text := what + " " + state
	switch w.IntN(4) {
	case 0:
		text = fmt.Sprintf("%s (%s %d)", text, pick("at", "module", "depth", "since"), 1+w.IntN(2400))
	case 1:
		text += "; " + pick("ask home about it", "Tomas knows", "wind up to 14 m/s", "stopped for lunch", "second try", "see yesterday", "no spare left here")
	}
	return text
}

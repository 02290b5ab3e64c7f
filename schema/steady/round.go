package steady

import "strconv"

// roundText rounds by way of strconv, which is exact and the same everywhere.
func roundText(x float64, digits int) float64 {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'e', digits-1, 64), 64)
	if err != nil {
		panic("steady: strconv does not read what it wrote: " + err.Error())
	}
	return rounded
}

package sparing_test

import (
	"fmt"
	"log"

	"pulk/inventory/sparing"
)

// Twelve surface hub cards run for a winter of 5,000 hours. The datasheet says
// 50,000 h between failures; two cards failed in 70,000 unit-hours. One good
// card lies at the station.
func ExampleNeed() {
	prior, err := sparing.RateFromMTBF(50000, 1)
	if err != nil {
		log.Fatal(err)
	}
	answer, err := sparing.Need(sparing.Line{
		Installed:           12,
		HoursToDelivery:     5000,
		Prior:               prior,
		Failures:            2,
		UnitHoursSeen:       70000,
		GoodStock:           1,
		Target:              0.95,
		IntervalProbability: 0.90,
		Piece:               sparing.Piece{MassGrams: 850, LengthMillimetres: 250, WidthMillimetres: 180, HeightMillimetres: 60},
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("rate per 1000 h  %.4f (%.4f to %.4f)\n", 1000*answer.MeanRatePerHour, 1000*answer.RatePerHour.Low, 1000*answer.RatePerHour.High)
	fmt.Printf("expected demand  %.1f\n", answer.ExpectedDemand)
	fmt.Printf("sufficient       %d, so send %d\n", answer.SufficientStock, answer.ToSend)
	fmt.Printf("sufficiency      %.3f now, %.3f when sent\n", answer.SufficiencyNow, answer.SufficiencySent)
	fmt.Printf("load             %.0f g, %.1f L\n", answer.Load.MassGrams, answer.Load.VolumeLitres)
	// Output:
	// rate per 1000 h  0.0250 (0.0068 to 0.0525)
	// expected demand  1.5
	// sufficient       4, so send 3
	// sufficiency      0.593 now, 0.955 when sent
	// load             2550 g, 8.1 L
}

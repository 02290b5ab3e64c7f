package choice_test

import (
	"context"
	"fmt"
	"log"
	"math"

	"pulk/inventory/choice"
	"pulk/inventory/sparing"
)

// Three items with a mean demand of 2, 1 and 0.5 pieces weigh 4, 10 and 25 kg
// apiece; 60 kg may be sent. The figures are invented.
func ExampleBest() {
	problem := choice.Problem{Caps: []float64{60000}}
	for _, line := range []struct{ mean, grams float64 }{{2, 4000}, {1, 10000}, {0.5, 25000}} {
		demand, err := sparing.NewPoisson(line.mean)
		if err != nil {
			log.Fatal(err)
		}
		var item choice.Item
		for spares := range 8 {
			item.Options = append(item.Options, choice.Option{
				Value: math.Log(demand.CDF(int64(spares))),
				Use:   []float64{float64(spares) * line.grams},
			})
		}
		problem.Items = append(problem.Items, item)
	}
	best, err := choice.Best(context.Background(), problem, choice.Settings{})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("send %v: %.3f that nothing runs out, %.0f g, proven: %v\n", best.Chosen, math.Exp(best.Value), best.Use[0], best.Proven)
	problem.Caps[0] = math.Inf(1)
	least, err := choice.Least(context.Background(), problem, 0, math.Log(0.9), choice.Settings{})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("send %v: %.3f for %.0f g\n", least.Chosen, math.Exp(least.Value), least.Use[0])
	// Output:
	// send [3 2 1]: 0.717 that nothing runs out, 57000 g, proven: true
	// send [6 4 1]: 0.902 for 89000 g
}

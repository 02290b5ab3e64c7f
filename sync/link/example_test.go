package link_test

import (
	"fmt"
	"time"

	"pulk/sync/link"
)

// The elements are case 21 of AIAA 2006-6753; of the times, the rows SG-227 and
// SG-229 of testdata/checks/sgp4_passes.csv publish 20:12:05 and 21:42:55.
func ExamplePasses() {
	set, err := link.ParseElements([]byte(`CBERS 2
1 28057U 03049A   06177.78615833  .00000060  00000-0  35940-4 0  1836
2 28057  98.4283 247.6961 0000884  88.1964 271.9322 14.35478080140550
`))
	if err != nil {
		fmt.Println(err)
		return
	}
	site := link.Site{LatitudeDegrees: -89.99, HeightMetres: 2835, Mask: link.Mask{{AzimuthDegrees: 0, ElevationDegrees: 10}}}
	from := time.Date(2006, 6, 26, 18, 53, 0, 0, time.UTC)
	passes, err := link.Passes(set, site, from, from.Add(4*time.Hour))
	for _, p := range passes {
		fmt.Printf("%s %s to %s, highest %.1f°\n", p.Satellite, p.Rise.Format(time.TimeOnly), p.Set.Format(time.TimeOnly), p.HighestElevationDegrees)
	}
	fmt.Println(err)
	// Output:
	// CBERS 2 20:02:32 to 20:12:05, highest 34.5°
	// CBERS 2 21:42:55 to 21:52:27, highest 34.5°
	// <nil>
}

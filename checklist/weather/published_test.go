package weather_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pulk/checklist/weather"
	"pulk/testdata/checks/published"
)

const footMetres, mileKilometres = 0.3048, 1.609344

func pressureAt(t *testing.T, geopotential float64) float64 {
	return published.Must(weather.StandardPressure(geopotential))(t)
}

var computed = map[string]func(*testing.T, published.Row) float64{
	"wind_chill_c": func(t *testing.T, row published.Row) float64 {
		// Charts show whole numbers.
		return math.Round(published.Must(weather.WindChill(row.Number(t, "air_temp_c"), row.Number(t, "wind_kmh_10m")))(t))
	},
	"wind_chill_f": func(t *testing.T, row published.Row) float64 {
		return math.Round(published.Must(weather.WindChillFahrenheit(row.Number(t, "air_temp_f"), row.Number(t, "wind_mph")))(t))
	},
	"wind_chill_c_unrounded": func(t *testing.T, row published.Row) float64 {
		return published.Must(weather.WindChill(row.Number(t, "air_temp_c"), row.Number(t, "wind_kmh_10m")))(t)
	},
	"wind_chill_c_below_5_kmh": func(t *testing.T, row published.Row) float64 {
		return published.Must(weather.LightWindChill(row.Number(t, "air_temp_c"), row.Number(t, "wind_kmh_10m")))(t)
	},
	"standard_pressure_at_geometric_altitude": func(t *testing.T, row published.Row) float64 {
		return pressureAt(t, weather.Geopotential(row.Number(t, "altitude_m_geometric")))
	},
	"standard_pressure_at_geopotential_altitude": func(t *testing.T, row published.Row) float64 {
		return pressureAt(t, row.Number(t, "altitude_m_geopotential"))
	},
	"standard_temperature_at_geopotential_altitude": func(t *testing.T, row published.Row) float64 {
		return published.Must(weather.StandardTemperature(row.Number(t, "altitude_m_geopotential")))(t)
	},
	"pressure_altitude_from_pressure": func(t *testing.T, row published.Row) float64 {
		return published.Must(weather.PressureAltitude(row.Number(t, "pressure_hpa")))(t)
	},
	"inspired_oxygen_fraction_of_sea_level": func(t *testing.T, row published.Row) float64 {
		// The row's note: the plain ratio of pressures, which this is.
		return pressureAt(t, weather.Geopotential(row.Number(t, "altitude_ft")*footMetres)) / pressureAt(t, 0)
	},
}

func TestWindChillChart(t *testing.T) { published.Check(t, "wind_chill.csv", 261, computed) }

func TestStandardAtmosphere(t *testing.T) { published.Check(t, "altitude.csv", 39, computed) }

// The two forms of the index are one: they differ by less than charts show.
func TestFormsAgree(t *testing.T) {
	for air := -60.0; air <= 10; air += 7 {
		for wind := 5.0; wind <= 100; wind += 9.5 {
			fahrenheit := published.Must(weather.WindChillFahrenheit(air*1.8+32, wind/mileKilometres))(t)
			celsius := published.Must(weather.WindChill(air, wind))(t)
			if math.Abs((fahrenheit-32)/1.8-celsius) > 0.2 {
				t.Errorf("%v °C, %v km/h: %v by the one form, %v by the other", air, wind, (fahrenheit-32)/1.8, celsius)
			}
		}
	}
}

func TestWindChillRange(t *testing.T) {
	for _, c := range []struct {
		air, wind float64
		says      string
	}{
		{10.1, 20, "air temperature 10.1 °C is outside -60 to 10 °C"},
		{-61, 20, "air temperature -61 °C is outside"},
		{-10, 4.8, "wind speed 4.8 km/h is outside 5 to 110 km/h"},
		{math.NaN(), 20, "NaN"},
		{-5, 3, "wind speed 3 km/h"},
	} {
		if got, err := weather.WindChill(c.air, c.wind); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("WindChill(%v, %v) = %v, %v; want an error with %q", c.air, c.wind, got, err, c.says)
		}
	}
	// WC-401: valid at or below 50 °F and above 3 mph.
	for _, c := range []struct{ air, wind float64 }{{50.1, 10}, {50, 3}} {
		if got, err := weather.WindChillFahrenheit(c.air, c.wind); err == nil {
			t.Errorf("WindChillFahrenheit(%v, %v) = %v; want an error", c.air, c.wind, got)
		}
	}
	for _, height := range []float64{-2001, 11_001, math.Inf(1)} {
		if got, err := weather.StandardPressure(height); err == nil {
			t.Errorf("StandardPressure(%v) = %v; want an error", height, got)
		}
	}
	if got, err := weather.PressureAltitude(200); err == nil {
		t.Errorf("PressureAltitude(200) = %v; want an error", got)
	}
}

func TestPressureAltitudeIsTheInverse(t *testing.T) {
	for height := -2000.0; height <= 11_000; height += 250 {
		back := published.Must(weather.PressureAltitude(pressureAt(t, height)))(t)
		if math.Abs(back-height) > 1e-6 {
			t.Errorf("height %s m comes back as %v", strconv.Itoa(int(height)), back)
		}
	}
}

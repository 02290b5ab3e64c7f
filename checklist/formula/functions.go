package formula

import (
	"pulk/checklist/cable"
	"pulk/checklist/water"
	"pulk/checklist/weather"
)

// functions are those of the trade.
var functions = []Function{
	{"sea_pressure", []Parameter{{"depth", "m"}, {"latitude", "deg"}}, "dbar", "gauge pressure in sea water, UNESCO 44", "water.SeaPressure", two(water.SeaPressure)},
	{"sea_depth", []Parameter{{"pressure", "dbar"}, {"latitude", "deg"}}, "m", "depth in sea water, UNESCO 44", "water.SeaDepth", two(water.SeaDepth)},
	{"sea_pressure_teos10", []Parameter{{"depth", "m"}, {"latitude", "deg"}}, "dbar", "gauge pressure in sea water, TEOS-10", "water.SeaPressureTEOS10", two(water.SeaPressureTEOS10)},
	{"sea_depth_teos10", []Parameter{{"pressure", "dbar"}, {"latitude", "deg"}}, "m", "depth in sea water, TEOS-10", "water.SeaDepthTEOS10", two(water.SeaDepthTEOS10)},
	{"hole_pressure", []Parameter{{"depth", "m"}, {"latitude", "deg"}}, "dbar", "gauge pressure below the water level of a hole of fresh water at 0 °C", "water.HolePressure", two(water.HolePressure)},
	{"hole_depth", []Parameter{{"pressure", "dbar"}, {"latitude", "deg"}}, "m", "depth below that level", "water.HoleDepth", two(water.HoleDepth)},
	{"freezing_point", []Parameter{{"salinity", "1"}, {"pressure", "dbar"}}, "Cel", "freezing point of sea water, UNESCO 44", "water.FreezingPoint", two(water.FreezingPoint)},
	{"sea_density", []Parameter{{"salinity", "1"}, {"temperature", "Cel"}, {"pressure", "dbar"}}, "kg/m3", "density of sea water, EOS-80; salinity 0 is fresh water", "water.Density", three(water.Density)},
	{"sound_speed", []Parameter{{"salinity", "1"}, {"temperature", "Cel"}, {"pressure", "dbar"}}, "m/s", "speed of sound in sea water, UNESCO 44", "water.SoundSpeed", three(water.SoundSpeed)},
	{"sea_density_teos10", []Parameter{{"absolute salinity", "g/kg"}, {"conservative temperature", "Cel"}, {"pressure", "dbar"}}, "kg/m3", "density of sea water, TEOS-10", "water.DensityTEOS10", three(water.DensityTEOS10)},
	{"sound_speed_teos10", []Parameter{{"absolute salinity", "g/kg"}, {"conservative temperature", "Cel"}, {"pressure", "dbar"}}, "m/s", "speed of sound in sea water, TEOS-10", "water.SoundSpeedTEOS10", three(water.SoundSpeedTEOS10)},
	{"gravity", []Parameter{{"height", "m"}, {"latitude", "deg"}}, "m/s2", "acceleration of gravity at a height, below the surface negative", "water.Gravity", two(water.Gravity)},

	{"link_loss", []Parameter{{"length", "km"}, {"loss of the fibre", "dB/km"}, {"splices", "1"}, {"loss of a splice", "dB"}, {"connectors", "1"}, {"loss of a connector", "dB"}},
		"dB", "loss of a fibre link from connector to connector", "cable.Link", func(a []float64) (float64, error) {
			return cable.Link{LengthKilometres: a[0], DecibelsPerKilometre: a[1], Splices: a[2], DecibelsPerSplice: a[3], Connectors: a[4], DecibelsPerConnector: a[5]}.Loss()
		}},
	{"loss_between", []Parameter{{"power sent", "W"}, {"power received", "W"}}, "dB", "loss from a power sent to a power received", "cable.LossBetween", two(cable.LossBetween)},
	{"insulation_at", []Parameter{{"wanted temperature", "Cel"}, {"resistance", "Ohm"}, {"temperature when measured", "Cel"}, {"warming that halves it", "K"}},
		"Ohm", "insulation resistance as it would be at the wanted temperature", "cable.InsulationAt", func(a []float64) (float64, error) {
			return cable.InsulationAt(a[0], a[1], a[2], a[3])
		}},
	{"polarisation_index", []Parameter{{"resistance after ten minutes", "Ohm"}, {"resistance after one minute", "Ohm"}}, "1", "their ratio, IEEE 43", "cable.PolarisationIndex", two(cable.PolarisationIndex)},
	{"voltage_drop", []Parameter{{"current", "A"}, {"resistance of one conductor", "Ohm/km"}, {"length", "km"}, {"conductor temperature", "Cel"}},
		"V", "voltage lost along a pair of copper, there and back", "cable.VoltageDrop", func(a []float64) (float64, error) {
			return cable.VoltageDrop(a[0], a[1], a[2], a[3])
		}},
	{"weight", []Parameter{{"mass", "kg"}, {"volume", "m3"}, {"density of the fluid", "kg/m3"}}, "N", "force with which something hangs; in air let volume and density be 0", "cable.Weight", three(cable.Weight)},
	{"cold_tension", []Parameter{{"stiffness", "N"}, {"expansion", "/K"}, {"cooling", "K"}}, "N", "tension that cooling adds to a cable held at both ends", "cable.ColdTension", three(cable.ColdTension)},
	{"working_load", []Parameter{{"breaking load", "N"}, {"safety factor", "1"}}, "N", "load that may hang", "cable.WorkingLoad", two(cable.WorkingLoad)},

	{"wind_chill", []Parameter{{"air temperature", "Cel"}, {"wind speed", "km/h"}}, "Cel", "wind chill index of 2001", "weather.WindChill", two(weather.WindChill)},
	{"standard_pressure", []Parameter{{"elevation", "m"}}, "hPa", "pressure of the standard atmosphere at an elevation on the map", "weather.StandardPressure", atElevation(weather.StandardPressure)},
	{"standard_temperature", []Parameter{{"elevation", "m"}}, "Cel", "temperature of the standard atmosphere at an elevation on the map", "weather.StandardTemperature", atElevation(weather.StandardTemperature)},
	{"pressure_altitude", []Parameter{{"pressure", "hPa"}}, "m", "height at which the standard atmosphere has that pressure", "weather.PressureAltitude", one(weather.PressureAltitude)},
}

func one(f func(a float64) (float64, error)) func([]float64) (float64, error) {
	return func(a []float64) (float64, error) { return f(a[0]) }
}

func two(f func(a, b float64) (float64, error)) func([]float64) (float64, error) {
	return func(a []float64) (float64, error) { return f(a[0], a[1]) }
}

func three(f func(a, b, c float64) (float64, error)) func([]float64) (float64, error) {
	return func(a []float64) (float64, error) { return f(a[0], a[1], a[2]) }
}

func atElevation(f func(geopotentialMetres float64) (float64, error)) func([]float64) (float64, error) {
	return func(a []float64) (float64, error) { return f(weather.Geopotential(a[0])) }
}

package rulebook

import "math"

// sameValue is the relative difference below which two numbers count as one. It absorbs the last digits that a conversion
// from pounds to kilograms and back leaves; it is no tolerance of measurement.
const sameValue = 1e-9

// LowEnergyTimeUS is the least time in seconds that a low-energy swinging leaf may take over the 80 degrees from 90 to 10 (and, opening,
// to backcheck), in the US form T = D·√W/133 with D in inches and W in pounds, rounded up to the next half second and at least 3.0 s.
// Arguments: width of the leaf in metres, mass in kilograms.
//
// Source: ANSI/BHMA A156.19, Table I, from memory. The mean energy over the 80 degrees is then at most 1.2406 lbf·ft.
// It is not the same rule as LowEnergyTimeSI: 30 in × 175 lb needs 3.0 s here and 3.5 s there.
func LowEnergyTimeUS(widthM, massKg float64) float64 {
	return upToHalfSecond(widthM / metresPerInch * math.Sqrt(massKg/kilogramsPerLb) / 133)
}

// LowEnergyTimeSI is the same least time in seconds in the SI form T = D·√m/2260 with D in millimetres and m in kilograms,
// rounded up to the next half second and at least 3.0 s. Arguments: width in metres, mass in kilograms.
//
// Source: the metric line of the same table, from memory. It asks 0.67 % more time than LowEnergyTimeUS before rounding.
// A pack uses one form and names it.
func LowEnergyTimeSI(widthM, massKg float64) float64 {
	return upToHalfSecond(widthM * 1000 * math.Sqrt(massKg) / 2260)
}

func upToHalfSecond(t float64) float64 {
	return math.Max(3, math.Ceil(2*t*(1-sameValue))/2)
}

// SwingEnergy is the kinetic energy in joules of a uniform leaf (width in metres, mass in kilograms) that turns through angleDeg degrees
// in timeS seconds at constant speed: ½·(m·D²/3)·ω². A leaf that runs fast and slow within the angle has more at its peak.
func SwingEnergy(widthM, massKg, angleDeg, timeS float64) float64 {
	speed := angleDeg * math.Pi / 180 / timeS
	return massKg * widthM * widthM / 6 * speed * speed
}

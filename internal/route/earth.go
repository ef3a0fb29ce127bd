package route

import "math"

// Position is a point on the earth.
type Position struct{ LatitudeDeg, LongitudeDeg float64 }

// earthM is the mean radius of the earth, R1 of the International Union of Geodesy and Geophysics (H. Moritz, Geodetic Reference System
// 1980, Journal of Geodesy 74, 2000).
const earthM = 6_371_008.8

// AirM is how far apart two positions are on a great circle, in metres, by the haversine formula (R. W. Sinnott, Sky and Telescope 68(2), 1984).
func AirM(a, b Position) float64 {
	rad := math.Pi / 180
	φ, λ := math.Sin((b.LatitudeDeg-a.LatitudeDeg)*rad/2), math.Sin((b.LongitudeDeg-a.LongitudeDeg)*rad/2)
	h := φ*φ + math.Cos(a.LatitudeDeg*rad)*math.Cos(b.LatitudeDeg*rad)*λ*λ
	return 2 * earthM * math.Asin(min(1, math.Sqrt(h)))
}

// Roads is how ways are guessed where nobody has measured them.
type Roads struct {
	Factor     float64 // how much longer the way is than the great circle
	SpeedKmh   float64
	ArrivalMin float64 // to park, sign in and find the door; none where one stays
}

// Minutes is how long it takes from one position to another, arrival included.
func (r Roads) Minutes(a, b Position) float64 {
	if a == b {
		return 0
	}
	return AirM(a, b)*r.Factor/1000/r.SpeedKmh*60 + r.ArrivalMin
}

// KM is how far it is.
func (r Roads) KM(a, b Position) float64 { return AirM(a, b) * r.Factor / 1000 }

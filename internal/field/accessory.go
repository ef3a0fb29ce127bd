package field

import (
	"errors"
	"fmt"
)

// Accessory is what a part between the device and the room does to it, as data of the catalogue: any combination of the
// effects below. What is nil or 0 has no effect.
//
//   - spacer: OutM, its depth. (It also lowers the vibration that the sensor feels.)
//   - extension arm: OutM, 0.3 m (1 ft) to 0.9 m (3 ft).
//   - rain hood: CutOffDeg and LossDB; it does not move the sensor.
//   - weather cover: LossDB.
//   - ceiling recess: HeightM (the ceiling's), FromDoorM and EdgeAngleDeg; the tilt stays the mount's, which is small there.
//   - mask, reflector: the two beamwidths.
type Accessory struct {
	Name string

	OutM      float64  // moves the sensor away from the door, 0 to 2
	HeightM   *float64 // puts it at a height, 0.3 to 12
	FromDoorM *float64 // puts it at a distance from the mid-plane of the closed leaf, −20 to 20

	LossDB       float64  // insertion loss one way, 0 to 30; the echo suffers it twice
	CutOffDeg    *float64 // hides in the vertical plane of the aim what is more than this from straight down, 0 to 90
	EdgeAngleDeg *float64 // a square opening hides on all four sides what is more than this from straight down, 0 to 90

	AzimuthBeamwidthDeg   *float64 // replaces the antenna's, 1 to 180
	ElevationBeamwidthDeg *float64
}

// Spacer moves the sensor out by its depth.
func Spacer(depthM float64) Accessory { return Accessory{Name: "spacer", OutM: depthM} }

// ExtensionArm holds the sensor out in front of the door.
func ExtensionArm(outM float64) Accessory { return Accessory{Name: "extension arm", OutM: outM} }

// RainHood keeps rain off and hides what is above its lip.
func RainHood(cutOffDeg, lossDB float64) Accessory {
	return Accessory{Name: "rain hood", CutOffDeg: &cutOffDeg, LossDB: lossDB}
}

// WeatherCover is a radome with some loss.
func WeatherCover(lossDB float64) Accessory { return Accessory{Name: "weather cover", LossDB: lossDB} }

// CeilingRecess puts the sensor into the ceiling.
func CeilingRecess(ceilingM, fromDoorM, edgeAngleDeg float64) Accessory {
	return Accessory{Name: "ceiling recess", HeightM: &ceilingM, FromDoorM: &fromDoorM, EdgeAngleDeg: &edgeAngleDeg}
}

// Apply gives the device as it is behind its accessories, in the order from the wall outwards. Two accessories that place
// the sensor, or replace the same beamwidth, contradict each other. The device that comes out is valid.
func Apply(d Device, accessories []Accessory) (Device, error) {
	var placed, lifted, azimuth, elevation bool
	d.Cuts = append([]Cut(nil), d.Cuts...)
	for i, a := range accessories {
		at := fmt.Sprintf("accessories[%d].", i)
		if err := a.faults(); err != nil {
			var fault *InputError
			errors.As(err, &fault)
			return Device{}, &InputError{at + fault.Member, fault.Reason}
		}
		for _, replaced := range []struct {
			member string
			by     *float64
			to     *float64
			done   *bool
		}{
			{"height_m", a.HeightM, &d.HeightM, &lifted},
			{"from_door_m", a.FromDoorM, &d.OffsetYM, &placed},
			{limitAzimuth.member, a.AzimuthBeamwidthDeg, &d.AzimuthBeamwidthDeg, &azimuth},
			{limitElevation.member, a.ElevationBeamwidthDeg, &d.ElevationBeamwidthDeg, &elevation},
		} {
			if replaced.by == nil {
				continue
			}
			if *replaced.done {
				return Device{}, &InputError{at + replaced.member, "was already set by another accessory"}
			}
			*replaced.to, *replaced.done = *replaced.by, true
		}
		d.OffsetYM += a.OutM
		d.LossDB += a.LossDB
		if a.CutOffDeg != nil {
			d.Cuts = append(d.Cuts, Cut{d.YawDeg, *a.CutOffDeg})
		}
		if a.EdgeAngleDeg != nil {
			for _, yaw := range []float64{0, 90, 180, -90} {
				d.Cuts = append(d.Cuts, Cut{yaw, *a.EdgeAngleDeg})
			}
		}
	}
	if err := d.Validate(); err != nil {
		return Device{}, err
	}
	return d, nil
}

// faults gives an *InputError for the first effect outside its limits.
func (a Accessory) faults() error {
	if err := (limit{"out_m", 0, 2}).check(a.OutM); err != nil {
		return err
	}
	if err := limitLoss.check(a.LossDB); err != nil {
		return err
	}
	for _, m := range []struct {
		limit
		v *float64
	}{
		{limitHeight, a.HeightM},
		{limit{"from_door_m", limitOffsetY.low, limitOffsetY.top}, a.FromDoorM},
		{limit{"cut_off_deg", 0, 90}, a.CutOffDeg},
		{limit{"edge_angle_deg", 0, 90}, a.EdgeAngleDeg},
		{limitAzimuth, a.AzimuthBeamwidthDeg},
		{limitElevation, a.ElevationBeamwidthDeg},
	} {
		if m.v == nil {
			continue
		}
		if err := m.check(*m.v); err != nil {
			return err
		}
	}
	return nil
}

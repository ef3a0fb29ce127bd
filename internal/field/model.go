package field

import "fmt"

// ModelVersion names the physics and the choices of this package. Stored results carry it; it changes whenever the same
// device would get another field, or the same devices another coverage.
//
// field-2 counts for a required zone only what serves the zone's purpose: somebody who stands is told by no motion sensor. field-1 let every device
// count that was wired for the zone.
const ModelVersion = "field-2"

// Model computes as a version did: what was stored under its name is drawn again as it was.
type Model struct {
	Footprint     func(d Device, planeHeightM float64, clipAtDoorPlane bool) Footprint
	BodyFootprint func(v Volume, bodyHeightM float64, clipAtDoorPlane bool) Footprint
	Cover         func(z Zone, sources []Source) Coverage
}

// models holds every version that was ever stored. The code of an old one stays here when ModelVersion moves on.
var models = map[string]Model{
	"field-1":    {Device.Footprint, BodyFootprint, coverOfAny},
	ModelVersion: {Device.Footprint, BodyFootprint, Cover},
}

// coverOfAny is Cover as field-1 was asked for it: whatever a device is good for.
func coverOfAny(z Zone, sources []Source) Coverage {
	z.Purpose, z.StillS = "", 0
	return Cover(z, sources)
}

// ModelOf gives the model of a stored version's name.
func ModelOf(version string) (Model, error) {
	m, ok := models[version]
	if !ok {
		return Model{}, &InputError{"model_version", fmt.Sprintf("%q is no version of the field's model that this program knows", version)}
	}
	return m, nil
}

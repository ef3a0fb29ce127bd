package rulebook

import "fmt"

// unit is a unit that packs may write: how much of the SI unit one of it is.
type unit struct {
	si     string
	factor float64
}

const (
	metresPerInch    = 0.0254
	metresPerFoot    = 0.3048
	kilogramsPerLb   = 0.45359237
	newtonsPerLbf    = kilogramsPerLb * 9.80665
	joulesPerLbfFoot = newtonsPerLbf * metresPerFoot
)

// unitNamed gives the unit of that name. All factors are exact by definition (international yard and pound, standard gravity).
func unitNamed(name string) (unit, error) {
	switch name {
	case "s", "m", "kg", "N", "J", "m/s", "deg", "rpm", "months":
		return unit{name, 1}, nil
	case "mm":
		return unit{"m", 0.001}, nil
	case "in":
		return unit{"m", metresPerInch}, nil
	case "ft":
		return unit{"m", metresPerFoot}, nil
	case "lb":
		return unit{"kg", kilogramsPerLb}, nil
	case "lbf":
		return unit{"N", newtonsPerLbf}, nil
	case "lbf.ft":
		return unit{"J", joulesPerLbfFoot}, nil
	case "in/s":
		return unit{"m/s", metresPerInch}, nil
	case "ft/s":
		return unit{"m/s", metresPerFoot}, nil
	}
	return unit{}, fmt.Errorf("unknown unit %q", name)
}

// Amount is one quantity in the unit that its source makes primary, with its SI value beside it.
type Amount struct {
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"`     // s, m, mm, in, ft, kg, lb, N, lbf, J, lbf.ft, m/s, in/s, ft/s or deg
	SI     float64 `json:"si_value"` // Value in SIUnit
	SIUnit string  `json:"si_unit"`  // s, m, kg, N, J, m/s or deg
}

func (u unit) amount(name string, value float64) Amount {
	return Amount{Value: value, Unit: name, SI: value * u.factor, SIUnit: u.si}
}

func (u unit) amountOfSI(name string, si float64) Amount {
	return Amount{Value: si / u.factor, Unit: name, SI: si, SIUnit: u.si}
}

package rulebook

import (
	"fmt"
	"math"
	"strings"

	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/operators"
)

// dimension is what a number measures, as powers of metre, kilogram and second. Degrees and counts have none; turns and cycles
// a minute are powers of the second. A bare number in an expression may stand for anything that it is compared with.
type dimension struct {
	powers [3]float64
	bare   bool
}

var (
	bareNumber = dimension{bare: true}
	plainRatio = dimension{}
)

// dimensionOf a unit's SI unit.
func dimensionOf(si string) dimension {
	switch si {
	case "s":
		return dimension{powers: [3]float64{0, 0, 1}}
	case "m":
		return dimension{powers: [3]float64{1, 0, 0}}
	case "kg":
		return dimension{powers: [3]float64{0, 1, 0}}
	case "N":
		return dimension{powers: [3]float64{1, 1, -2}}
	case "J":
		return dimension{powers: [3]float64{2, 1, -2}}
	case "m/s":
		return dimension{powers: [3]float64{1, 0, -1}}
	case "rpm":
		return dimension{powers: [3]float64{0, 0, -1}}
	}
	return plainRatio
}

// dimensionNamed reads the dimension off the end of a fact's name, which names its SI unit.
func dimensionNamed(name string) dimension {
	for suffix, si := range map[string]string{"_s": "s", "_m": "m", "_kg": "kg", "_mps": "m/s", "_n": "N", "_j": "J"} {
		if strings.HasSuffix(name, suffix) {
			return dimensionOf(si)
		}
	}
	return plainRatio
}

func (d dimension) String() string {
	for _, si := range []string{"s", "m", "kg", "N", "J", "m/s", "rpm"} {
		if !d.bare && d == dimensionOf(si) {
			return si
		}
	}
	if d.bare || d == plainRatio {
		return "a plain number"
	}
	parts := []string{}
	for i, base := range []string{"m", "kg", "s"} {
		if d.powers[i] != 0 {
			parts = append(parts, fmt.Sprintf("%s^%g", base, d.powers[i]))
		}
	}
	return strings.Join(parts, "·")
}

// times multiplies by another dimension raised to a power.
func (d dimension) times(o dimension, power float64) dimension {
	out := dimension{bare: d.bare && o.bare}
	for i := range out.powers {
		out.powers[i] = d.powers[i] + power*o.powers[i]
	}
	return out
}

// dimensions finds out what an expression measures. It refuses what adds, compares or chooses between different dimensions:
// a time held against a force is a slip that no reading would show.
type dimensions struct {
	tree *ast.AST
	unit map[string]string // of the computed readings, by id
	err  error
}

// dimension of the whole expression.
func (p *program) dimension(tree *ast.AST) (dimension, error) {
	d := dimensions{tree: tree, unit: map[string]string{}}
	for _, c := range p.computed {
		d.unit[c.ID] = c.Unit
	}
	of := d.of(tree.Expr())
	return of, d.err
}

func (d *dimensions) of(e ast.Expr) dimension {
	if r := d.tree.ReferenceMap()[e.ID()]; r != nil && r.Name != "" && e.Kind() != ast.CallKind {
		return d.ofName(r.Name)
	}
	switch e.Kind() {
	case ast.LiteralKind:
		return bareNumber
	case ast.SelectKind:
		return dimensionNamed(e.AsSelect().FieldName())
	case ast.ListKind:
		elements := make([]dimension, 0, len(e.AsList().Elements()))
		for _, element := range e.AsList().Elements() {
			elements = append(elements, d.of(element))
		}
		return d.same(e, elements...)
	case ast.ComprehensionKind:
		c := e.AsComprehension()
		d.of(c.LoopCondition())
		return d.of(c.LoopStep())
	case ast.CallKind:
		return d.call(e, e.AsCall())
	}
	return bareNumber
}

func (d *dimensions) ofName(name string) dimension {
	if id, is := strings.CutPrefix(name, computedPrefix); is {
		return dimensionOf(d.unit[id])
	}
	if reading, is := strings.CutPrefix(name, readingPrefix); is {
		if k := readingNamed(reading); k != nil {
			return dimensionOf(k.Unit)
		}
	}
	for _, k := range factKinds() {
		if k.name == name {
			return dimensionNamed(name)
		}
	}
	return bareNumber // what a macro counts with
}

func (d *dimensions) call(e ast.Expr, c ast.CallExpr) dimension {
	args := make([]dimension, 0, len(c.Args()))
	for _, a := range c.Args() {
		args = append(args, d.of(a))
	}
	name := c.FunctionName()
	switch name {
	case operators.Add, operators.Subtract:
		return d.same(e, args...)
	case operators.Less, operators.LessEquals, operators.Greater, operators.GreaterEquals, operators.Equals, operators.NotEquals, operators.In:
		d.same(e, args...)
		return plainRatio
	case operators.Multiply:
		return args[0].times(args[1], 1)
	case operators.Divide:
		return args[0].times(args[1], -1)
	case operators.Negate:
		return args[0]
	case operators.Conditional:
		return d.same(e, args[1:]...)
	case operators.LogicalAnd, operators.LogicalOr, operators.LogicalNot, operators.NotStrictlyFalse:
		return plainRatio
	case "math.sqrt":
		return dimension{bare: args[0].bare}.times(args[0], 0.5)
	case "math.@min", "math.@max", "math.abs", "math.ceil", "math.floor", "math.round", "greatest", "least":
		return d.same(e, args...)
	}
	if f, known := measuring[name]; known {
		for i, want := range f.takes {
			if !args[i].bare && args[i] != want {
				d.refuse(c.Args()[i], "%s takes %s, not %s", name, want, args[i])
			}
		}
		return f.gives
	}
	return bareNumber
}

// measuring says what our own functions take and give, and with which of their arguments they fall; with the others they rise, as long as
// nothing is negative.
var measuring = map[string]struct {
	takes []dimension
	falls []bool
	gives dimension
}{
	"in_to_m":              {[]dimension{plainRatio}, []bool{false}, dimensionOf("m")},
	"m_to_in":              {[]dimension{dimensionOf("m")}, []bool{false}, plainRatio},
	"kg_to_lb":             {[]dimension{dimensionOf("kg")}, []bool{false}, plainRatio},
	"low_energy_time_us_s": {[]dimension{dimensionOf("m"), dimensionOf("kg")}, []bool{false, false}, dimensionOf("s")},
	"low_energy_time_si_s": {[]dimension{dimensionOf("m"), dimensionOf("kg")}, []bool{false, false}, dimensionOf("s")},
	"swing_speed_mps":      {[]dimension{dimensionOf("m"), plainRatio, dimensionOf("s")}, []bool{false, false, true}, dimensionOf("m/s")},
	"swing_energy_j":       {[]dimension{dimensionOf("m"), dimensionOf("kg"), plainRatio, dimensionOf("s")}, []bool{false, false, false, true}, dimensionOf("J")},
}

// same gives the one dimension of all; bare numbers go with any.
func (d *dimensions) same(e ast.Expr, all ...dimension) dimension {
	out := bareNumber
	for _, one := range all {
		switch {
		case one.bare:
		case out.bare:
			out = one
		case !out.near(one):
			d.refuse(e, "puts %s beside %s", out, one)
		}
	}
	return out
}

func (d dimension) near(o dimension) bool {
	for i := range d.powers {
		if math.Abs(d.powers[i]-o.powers[i]) > 1e-9 {
			return false
		}
	}
	return true
}

func (d *dimensions) refuse(at ast.Expr, format string, args ...any) {
	if d.err == nil {
		d.err = mistakeAt(d.tree, at, fmt.Sprintf(format, args...))
	}
}

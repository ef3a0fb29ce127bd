package rulebook

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/operators"
	"cel.dev/cel-go/common/types"
)

// direction is how a value goes when a reading rises.
type direction int

const (
	rises direction = 1 << iota
	falls
	turns = rises | falls // neither only rises nor only falls, as far as can be seen
)

// course is how a value goes with each reading that it is worked out from, and on which side of zero it is. A value that only rises or only
// falls with a reading has its least and its greatest at the ends of the reading's uncertainty: that makes the judge's interval
// exact. So an expression that does not is refused when the pack is loaded. True counts as more than false.
type course struct {
	with map[string]direction // by reading; none: it does not depend on it
	sign sign
	span *span // of a number that is written out, or of one of several
}

// span is the least and the greatest that a value can be.
type span struct{ least, most float64 }

type sign int

const (
	anySign  sign = iota
	notBelow      // zero or more
	notAbove      // zero or less
)

// check refuses a value whose course with a reading is not one way.
func (c course) check() error {
	for _, reading := range slices.Sorted(maps.Keys(c.with)) {
		if c.with[reading] == turns {
			return fmt.Errorf("neither only rises nor only falls with %s, so the ends of its uncertainty say nothing of the values between", readingPrefix+reading)
		}
	}
	return nil
}

// courses finds the course of an expression. Facts are known exactly and are never negative.
type courses struct {
	tree     *ast.AST
	computed map[string]*Computed
	bound    map[string]course // what a macro counts with
}

func courseOf(tree *ast.AST, computed map[string]*Computed) course {
	c := courses{tree, computed, map[string]course{}}
	return c.of(tree.Expr())
}

func (c *courses) of(e ast.Expr) course {
	if r := c.tree.ReferenceMap()[e.ID()]; r != nil && r.Name != "" && e.Kind() != ast.CallKind {
		return c.ofName(r.Name)
	}
	switch e.Kind() {
	case ast.IdentKind:
		return c.ofName(e.AsIdent())
	case ast.LiteralKind:
		if number, ok := e.AsLiteral().(types.Double); ok {
			return constantCourse(float64(number))
		}
		return course{}
	case ast.SelectKind:
		return course{with: c.of(e.AsSelect().Operand()).with, sign: notBelow}
	case ast.ListKind:
		all := make([]course, 0, len(e.AsList().Elements()))
		for _, element := range e.AsList().Elements() {
			all = append(all, c.of(element))
		}
		return joined(all...)
	case ast.ComprehensionKind:
		return c.comprehension(e.AsComprehension())
	case ast.CallKind:
		return c.call(e.AsCall())
	}
	return course{}
}

func (c *courses) ofName(name string) course {
	if bound, is := c.bound[name]; is {
		return bound
	}
	if id, is := strings.CutPrefix(name, computedPrefix); is {
		of := c.computed[id]
		whole := course{with: maps.Clone(of.value.course.with), sign: of.value.course.sign}
		if of.prefers != nil {
			whole = joined(whole, course{with: map[string]direction{of.prefers.Name: rises}, sign: notBelow})
		}
		return whole
	}
	if reading, is := strings.CutPrefix(name, readingPrefix); is {
		if k := readingNamed(reading); k != nil && k.Kind == Number {
			return course{with: map[string]direction{reading: rises}, sign: notBelow}
		}
		return course{} // an answer has no uncertainty
	}
	return course{sign: notBelow}
}

func constantCourse(number float64) course {
	c := course{sign: notBelow, span: &span{number, number}}
	if number < 0 {
		c.sign = notAbove
	}
	return c
}

// joined goes as all of them go.
func joined(all ...course) course {
	out := course{with: map[string]direction{}}
	for i, one := range all {
		if i == 0 {
			out.sign = one.sign
		} else if out.sign != one.sign {
			out.sign = anySign
		}
		for reading, d := range one.with {
			out.with[reading] |= d
		}
	}
	return out
}

// flipped goes the other way.
func (c course) flipped() course {
	out := course{with: map[string]direction{}}
	for reading, d := range c.with {
		out.with[reading] = map[direction]direction{rises: falls, falls: rises, turns: turns}[d]
	}
	switch c.sign {
	case notBelow:
		out.sign = notAbove
	case notAbove:
		out.sign = notBelow
	}
	return out
}

// unclear says nothing of how it goes with the readings of all.
func unclear(all ...course) course {
	out := joined(all...)
	out.sign = anySign
	for reading := range out.with {
		out.with[reading] = turns
	}
	return out
}

func (c *courses) comprehension(e ast.ComprehensionExpr) course {
	outer := maps.Clone(c.bound)
	defer func() { c.bound = outer }()
	c.bound = maps.Clone(outer)
	c.bound[e.IterVar()] = c.of(e.IterRange())
	start := c.of(e.AccuInit())
	start.sign = notBelow // an empty list takes the sign of what is put into it
	c.bound[e.AccuVar()] = course{with: start.with, sign: notBelow}
	step := c.of(e.LoopStep())
	return step
}

func (c *courses) call(e ast.CallExpr) course {
	args := make([]course, 0, len(e.Args())+1)
	if e.IsMemberFunction() {
		args = append(args, c.of(e.Target()))
	}
	for _, a := range e.Args() {
		args = append(args, c.of(a))
	}
	name := e.FunctionName()
	switch name {
	case operators.Add, "greatest", "least", "math.@min", "math.ceil", "math.floor", "math.round", operators.LogicalAnd, operators.LogicalOr, operators.NotStrictlyFalse:
		return joined(args...)
	case "math.@max":
		out := joined(args...)
		if slices.ContainsFunc(args, func(a course) bool { return a.sign == notBelow }) {
			out.sign = notBelow
		}
		return out
	case operators.Subtract:
		out := joined(args[0], args[1].flipped())
		out.sign = anySign
		return out
	case operators.Negate, operators.LogicalNot:
		return args[0].flipped()
	case operators.Multiply:
		return product(args[0], args[1])
	case operators.Divide:
		return product(args[0], args[1].inverse())
	case operators.Less, operators.LessEquals:
		return joined(args[0].flipped(), args[1]).ofTruth()
	case operators.Greater, operators.GreaterEquals:
		return joined(args[0], args[1].flipped()).ofTruth()
	case operators.Conditional:
		return choice(args[0], args[1], args[2])
	case "math.sqrt":
		return course{with: args[0].with, sign: notBelow}
	case "math.abs":
		if args[0].sign == notBelow {
			return args[0]
		}
	}
	if f, known := measuring[name]; known && len(f.falls) == len(args) && !slices.ContainsFunc(args, func(a course) bool { return a.sign != notBelow }) {
		all := make([]course, len(args))
		for i, a := range args {
			if all[i] = a; f.falls[i] {
				all[i] = a.inverse()
			}
		}
		return joined(all...)
	}
	return unclear(args...)
}

func (c course) ofTruth() course {
	c.sign = notBelow
	return c
}

// inverse is one by it; the sign stays.
func (c course) inverse() course {
	out := c.flipped()
	out.sign = c.sign
	if c.sign == anySign {
		return unclear(out)
	}
	return out
}

// product of two values: what is negative turns the other round.
func product(a, b course) course {
	sides := joined(course{with: a.turnedBy(b.sign)}, course{with: b.turnedBy(a.sign)})
	switch {
	case a.sign == anySign || b.sign == anySign:
		sides.sign = anySign
	case a.sign == b.sign:
		sides.sign = notBelow
	default:
		sides.sign = notAbove
	}
	return sides
}

// turnedBy is the course of a value that is multiplied by one of that sign.
func (c course) turnedBy(by sign) map[string]direction {
	switch by {
	case notBelow:
		return c.with
	case notAbove:
		return c.flipped().with
	}
	return unclear(c).with
}

// choice is one of two values by a condition. Where the condition depends on a reading, it must be known which value is the greater
// one, as in a table of numbers that are written out: then the whole goes with the condition, or against it.
func choice(when, yes, no course) course {
	out := joined(yes, no)
	if yes.span != nil && no.span != nil {
		out.span = &span{min(yes.span.least, no.span.least), max(yes.span.most, no.span.most)}
	}
	switch {
	case len(when.with) == 0:
	case out.span == nil:
		return unclear(when, yes, no)
	case yes.span.least >= no.span.most:
		out.with = joined(out, when).with
	case yes.span.most <= no.span.least:
		out.with = joined(out, when.flipped()).with
	default:
		return unclear(when, yes, no)
	}
	return out
}

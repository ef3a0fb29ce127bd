package field

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat/distuv"
)

// unknown is one number that a fit looks for.
type unknown struct {
	limit
	step float64 // over which the residuals are all but linear
}

// settling looks for the unknowns that leave the least residuals, when some of the residuals may be blunders. Residuals have one unit, and one
// that is NaN does not count.
type settling struct {
	unknowns  []unknown
	residuals func(values []float64) []float64
	leastSD   float64 // no scatter below this is believed
	known     bool    // the scatter is what was said beforehand, unless it is more
}

// settled is where a settling came to rest.
type settled struct {
	values    []float64
	residuals []float64
	weights   []float64  // 1 where a residual is ordinary, 0 where it does not count
	slopes    *mat.Dense // of the residuals by the unknowns; a row of zeros where one does not count
	sd        float64    // the scatter of ordinary residuals
	spread    float64    // what the values' own scatter is, of sd
	freedom   int
}

// The usual constants of robust regression, for 95 % efficiency at a normal scatter (P. J. Huber, Robust Statistics, 1981; J. W. Tukey's biweight).
const (
	huberK  = 1.345
	tukeyC  = 4.685
	madToSD = 1.4826
)

// loss is a robust one: what a residual of so many standard deviations costs, and its weight among the squares.
type loss func(u float64) (cost, weight float64)

func huber(u float64) (float64, float64) {
	if a := math.Abs(u); a > huberK {
		return huberK * (a - huberK/2), huberK / a
	}
	return u * u / 2, 1
}

func biweight(u float64) (float64, float64) {
	v := sq(u / tukeyC)
	if v >= 1 {
		return tukeyC * tukeyC / 6, 0
	}
	return tukeyC * tukeyC / 6 * (1 - (1-v)*(1-v)*(1-v)), sq(1 - v)
}

// settle goes on from those two of the starts that leave the least scatter, and keeps what leaves the least then. From there the blunders lose
// their weight.
func (s settling) settle(starts ...[]float64) settled {
	type start struct {
		at []float64
		sd float64
	}
	var list []start
	for _, at := range starts {
		list = append(list, start{at, s.scatter(at)})
	}
	slices.SortStableFunc(list, func(a, b start) int { return cmp.Compare(a.sd, b.sd) })
	var best []float64
	least := math.Inf(1)
	for _, from := range list[:min(2, len(list))] {
		at := from.at
		for range 2 {
			at = s.descend(at, s.scatter(at), huber)
		}
		if sd := s.scatter(at); sd < least {
			best, least = at, sd
		}
	}
	for range 3 {
		best = s.descend(best, least, biweight)
		least = s.scatter(best)
	}
	return s.at(best, least)
}

// scatter is a standard deviation that blunders do not move: of the median of the sizes, for as many unknowns as there are.
func (s settling) scatter(at []float64) float64 {
	var sizes []float64
	for _, e := range s.residuals(at) {
		if !math.IsNaN(e) {
			sizes = append(sizes, math.Abs(e))
		}
	}
	if len(sizes) == 0 {
		return s.leastSD
	}
	slices.Sort(sizes)
	n := len(sizes)
	return max(s.leastSD, madToSD*(sizes[(n-1)/2]+sizes[n/2])/2*(1+float64(len(s.unknowns))/float64(n)))
}

// descend lessens the loss at a given scatter. The unknowns are moved through a sigmoid, so that none leaves its limits.
func (s settling) descend(from []float64, sd float64, cost loss) []float64 {
	var at, residuals []float64
	var slopes *mat.Dense
	linear := func(x []float64) {
		if !slices.Equal(at, x) {
			at = slices.Clone(x)
			residuals, slopes = s.linear(s.values(x))
		}
	}
	p := optimize.Problem{
		Func: func(x []float64) (sum float64) {
			for _, e := range s.residuals(s.values(x)) {
				if !math.IsNaN(e) {
					c, _ := cost(e / sd)
					sum += c
				}
			}
			return sum
		},
		Grad: func(grad, x []float64) {
			linear(x)
			inner := s.inner(x)
			for j := range grad {
				grad[j] = 0
				for i, e := range residuals {
					if !math.IsNaN(e) {
						_, w := cost(e / sd)
						grad[j] += w * e / sd * slopes.At(i, j) / sd * inner[j]
					}
				}
			}
		},
		Hess: func(hess *mat.SymDense, x []float64) {
			linear(x)
			inner := s.inner(x)
			for j := range inner {
				for k := j; k < len(inner); k++ {
					sum := 0.0
					for i, e := range residuals {
						if !math.IsNaN(e) {
							_, w := cost(e / sd)
							sum += w * slopes.At(i, j) * slopes.At(i, k)
						}
					}
					hess.SetSym(j, k, sum/sq(sd)*inner[j]*inner[k])
				}
				hess.SetSym(j, j, hess.At(j, j)+1e-9)
			}
		},
	}
	settings := &optimize.Settings{MajorIterations: 20, GradientThreshold: 1e-3,
		Converger: &optimize.FunctionConverge{Absolute: 1e-4, Relative: 1e-4, Iterations: 1}}
	start := s.sigmoids(from)
	result, err := optimize.Minimize(p, start, settings, &optimize.Newton{})
	if result == nil || result.F > p.Func(start) || err != nil && result.X == nil {
		return from
	}
	return s.values(result.X) // an error tells that it cannot go lower by a line search: the best so far stands
}

// linear gives the residuals and their slopes, by differences.
func (s settling) linear(at []float64) ([]float64, *mat.Dense) {
	residuals := s.residuals(at)
	slopes := mat.NewDense(len(residuals), len(s.unknowns), nil)
	for j, u := range s.unknowns {
		step := u.step
		if at[j]+step > u.top {
			step = -step
		}
		moved := slices.Clone(at)
		moved[j] += step
		more := s.residuals(moved)
		for i := range residuals {
			v := (more[i] - residuals[i]) / step
			if math.IsNaN(residuals[i]) || math.IsNaN(v) || math.IsInf(v, 0) {
				v = 0
			}
			slopes.Set(i, j, v)
		}
	}
	return residuals, slopes
}

func (s settling) values(x []float64) []float64 {
	v := make([]float64, len(x))
	for j, u := range s.unknowns {
		v[j] = u.low + (u.top-u.low)/(1+math.Exp(-x[j]))
	}
	return v
}

func (s settling) sigmoids(values []float64) []float64 {
	x := make([]float64, len(values))
	for j, u := range s.unknowns {
		share := min(1-1e-6, max(1e-6, (values[j]-u.low)/(u.top-u.low)))
		x[j] = math.Log(share / (1 - share))
	}
	return x
}

// inner is how fast the values move with the sigmoids.
func (s settling) inner(x []float64) []float64 {
	d := make([]float64, len(x))
	for j, v := range s.values(x) {
		u := s.unknowns[j]
		d[j] = (v - u.low) * (u.top - v) / (u.top - u.low)
	}
	return d
}

// at takes stock where a settling came to rest.
func (s settling) at(values []float64, sd float64) settled {
	r := settled{values: values, sd: sd, spread: 1}
	r.residuals, r.slopes = s.linear(values)
	r.weights = make([]float64, len(r.residuals))
	squares, bend, n := 0.0, 0.0, 0
	for i, e := range r.residuals {
		if math.IsNaN(e) {
			continue
		}
		n++
		u := e / sd
		_, r.weights[i] = biweight(u)
		squares += sq(u * r.weights[i])
		if v := sq(u / tukeyC); v < 1 {
			bend += (1 - v) * (1 - 5*v)
		}
	}
	r.freedom = n - len(values)
	if !s.known && r.freedom > 0 && bend > 0 { // the variance of an M-estimate: E ψ² / (E ψ′)²
		r.spread = math.Sqrt(squares / float64(r.freedom) / sq(bend/float64(n)))
	}
	return r
}

// covariance is of the values, when each was believed beforehand to be where it is within a standard deviation.
func (r settled) covariance(beliefSD []float64) *mat.SymDense {
	n := len(r.values)
	scaled := mat.NewSymDense(n, nil) // each value in its own belief, for the sake of the inverse
	for j := range n {
		scaled.SetSym(j, j, 1)
	}
	row := mat.NewVecDense(n, nil)
	for i, w := range r.weights {
		for j := range n {
			row.SetVec(j, r.slopes.At(i, j)*beliefSD[j]/(r.sd*r.spread))
		}
		if w > 0 {
			scaled.SymRankOne(scaled, 1, row)
		}
	}
	var c mat.Cholesky
	var inverse mat.SymDense
	c.Factorize(scaled) // at least the unit matrix
	if err := c.InverseTo(&inverse); err != nil && !errors.As(err, new(mat.Condition)) {
		panic(err)
	}
	for j := range n {
		for k := j; k < n; k++ {
			inverse.SetSym(j, k, inverse.At(j, k)*beliefSD[j]*beliefSD[k])
		}
	}
	return &inverse
}

// quantile is how many standard deviations to either side hold 95 %.
func quantile(freedom int) float64 {
	if freedom < 1 {
		return distuv.UnitNormal.Quantile(0.975)
	}
	return distuv.StudentsT{Sigma: 1, Nu: float64(freedom)}.Quantile(0.975)
}

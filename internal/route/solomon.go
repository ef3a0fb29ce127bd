package route

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// MostCustomers bounds what ReadSolomon takes: the table of distances grows with the square.
const MostCustomers = 2000

// Solomon is an instance of the public benchmark of M. M. Solomon, "Algorithms for the vehicle routing and scheduling
// problems with time window constraints", Operations Research 35(2), 1987, 254–265.
type Solomon struct {
	Name      string
	Vehicles  int
	Capacity  float64
	Depot     Customer
	Customers []Customer
}

// Customer is a row of an instance. Service must begin within [Ready, Due].
type Customer struct {
	Number                            int
	X, Y, Demand, Ready, Due, Service float64
}

// ReadSolomon reads the benchmark's text: a name; VEHICLE; NUMBER CAPACITY and their values; CUSTOMER; a line of headings; then
// a row of seven numbers for each customer, the first of them 0, the depot. Blank lines do not count. An error names the line.
func ReadSolomon(in io.Reader) (Solomon, error) {
	r := lines{in: bufio.NewScanner(in)}
	instance, err := r.instance()
	if err != nil {
		return Solomon{}, fmt.Errorf("line %d: %w", max(r.line, 1), err)
	}
	return instance, nil
}

// lines gives the words of one line after the other that has any.
type lines struct {
	in   *bufio.Scanner
	line int
}

func (r *lines) next() ([]string, error) {
	for r.in.Scan() {
		r.line++
		if words := strings.Fields(r.in.Text()); len(words) > 0 {
			return words, nil
		}
	}
	if err := r.in.Err(); err != nil {
		r.line++
		return nil, err
	}
	return nil, io.EOF
}

func (r *lines) heading(first string) error {
	words, err := r.next()
	if err == io.EOF {
		return fmt.Errorf("the text ends before %s", first)
	}
	if err == nil && !strings.EqualFold(words[0], first) {
		return fmt.Errorf("%s is expected here, not %.40q", first, words[0])
	}
	return err
}

func (r *lines) instance() (Solomon, error) {
	var s Solomon
	name, err := r.next()
	if err == io.EOF {
		return s, errors.New("there is nothing in it")
	} else if err != nil {
		return s, err
	}
	s.Name = strings.Join(name, " ")
	if err := r.heading("VEHICLE"); err != nil {
		return s, err
	}
	if err := r.heading("NUMBER"); err != nil {
		return s, err
	}
	fleet, err := r.next()
	if err == io.EOF {
		return s, errors.New("the text ends before the number of vehicles")
	} else if err != nil {
		return s, err
	}
	if len(fleet) != 2 {
		return s, errors.New("number and capacity of the vehicles are expected here: two numbers")
	}
	if s.Vehicles, err = whole(fleet[0]); err != nil {
		return s, fmt.Errorf("number of vehicles: %w", err)
	}
	if s.Capacity, err = number(fleet[1], 0); err != nil {
		return s, fmt.Errorf("capacity: %w", err)
	}
	if err := r.heading("CUSTOMER"); err != nil {
		return s, err
	}
	if err := r.heading("CUST"); err != nil {
		return s, err
	}
	seen := map[int]int{}
	for {
		words, err := r.next()
		if err == io.EOF {
			break
		} else if err != nil {
			return s, err
		}
		c, err := customer(words)
		if err != nil {
			return s, err
		}
		if before, twice := seen[c.Number]; twice {
			return s, fmt.Errorf("customer %d stands in line %d already", c.Number, before)
		}
		switch {
		case len(seen) > MostCustomers:
			return s, fmt.Errorf("more than %d customers", MostCustomers)
		case len(seen) > 0:
			s.Customers = append(s.Customers, c)
		case c.Number != 0:
			return s, fmt.Errorf("the first row is the depot, number 0, not %d", c.Number)
		case c.Demand != 0 || c.Service != 0:
			return s, errors.New("the depot has no demand and no service time")
		default:
			s.Depot = c
		}
		seen[c.Number] = r.line
	}
	if len(seen) == 0 {
		return s, errors.New("the text ends before the depot, customer 0")
	}
	return s, nil
}

func customer(words []string) (Customer, error) {
	var c Customer
	if len(words) != 7 {
		return c, fmt.Errorf("seven numbers are expected here, not %d", len(words))
	}
	var err error
	if c.Number, err = whole(words[0]); err != nil {
		return c, fmt.Errorf("customer's number: %w", err)
	}
	for i, to := range []struct {
		name  string
		value *float64
		least float64
	}{{"x", &c.X, -most}, {"y", &c.Y, -most}, {"demand", &c.Demand, 0}, {"ready time", &c.Ready, -most}, {"due date", &c.Due, -most}, {"service time", &c.Service, 0}} {
		if *to.value, err = number(words[i+1], to.least); err != nil {
			return c, fmt.Errorf("customer %d: %s: %w", c.Number, to.name, err)
		}
	}
	if c.Due < c.Ready {
		return c, fmt.Errorf("customer %d: its due date %v is before its ready time %v", c.Number, c.Due, c.Ready)
	}
	return c, nil
}

// most is far beyond the numbers of any instance, and small enough that sums of them stay exact to many places.
const most = 1e7

// number reads a decimal. ParseFloat alone would take 1_000, 0x1p4 and Inf too.
func number(word string, least float64) (float64, error) {
	x, err := strconv.ParseFloat(word, 64)
	if err != nil || strings.Trim(word, "+-.0123456789eE") != "" {
		return 0, fmt.Errorf("%.40q is no number", word)
	}
	if x < least || x > most {
		return 0, fmt.Errorf("%s is not from %.0f to %.0f", word, least, most)
	}
	return x, nil
}

func whole(word string) (int, error) {
	x, err := strconv.Atoi(word)
	if err != nil || x < 0 || x > most {
		return 0, fmt.Errorf("%.40q is no whole number from 0 to %.0f", word, float64(most))
	}
	return x, nil
}

// Problem is the instance as the benchmark means it: distance and time are Euclidean and not rounded, the fewest vehicles first.
// Customer i of s.Customers is visit i; place 0 is the depot.
func (s Solomon) Problem() *Problem {
	places := append([]Customer{s.Depot}, s.Customers...)
	n := len(places)
	p := &Problem{Places: n, Distance: make([]float64, n*n), FewestShifts: true}
	for i, a := range places {
		for j, b := range places {
			dx, dy := a.X-b.X, a.Y-b.Y
			p.Distance[i*n+j] = math.Sqrt(float64(dx*dx) + float64(dy*dy)) // converted, so that no processor fuses them into another answer
		}
	}
	p.Time = p.Distance
	for i, c := range s.Customers {
		p.Visits = append(p.Visits, Visit{Place: i + 1, Windows: []Window{{c.Ready, c.Due}}, Duration: c.Service, Demand: c.Demand, Price: math.Inf(1)})
	}
	for range min(s.Vehicles, len(s.Customers)) { // more than one each never helps
		p.Shifts = append(p.Shifts, Shift{Hours: Window{s.Depot.Ready, s.Depot.Due}, Capacity: s.Capacity})
	}
	return p
}

package route

// How time runs through a shift with a break. All four only ever grow with their first argument, so that the earliest
// beginning of each visit is the best one, and what is late stays late when it begins later.

// Drive says when somebody arrives who sets off at t; the break stops the drive.
func (b Window) Drive(t, takes float64) float64 {
	switch {
	case t >= b.To || t+takes <= b.From:
		return t + takes
	case t >= b.From:
		return b.To + takes
	}
	return t + takes + (b.To - b.From)
}

// begin says when a visit begins that could begin at t; one that would reach into the break waits for its end.
func (b Window) begin(t, takes float64) float64 {
	if t < b.To && t+takes > b.From {
		return b.To
	}
	return t
}

// SetOff is the latest time to set off and arrive by then.
func (b Window) SetOff(by, takes float64) float64 {
	switch {
	case by <= b.From || by-takes >= b.To:
		return by - takes
	case by < b.To: // nobody arrives during the break
		return b.From - takes
	}
	return by - takes - (b.To - b.From)
}

// beginBy is the latest time not after t to begin a visit without reaching into the break.
func (b Window) beginBy(t, takes float64) float64 {
	if t < b.To && t+takes > b.From {
		return b.From - takes
	}
	return t
}

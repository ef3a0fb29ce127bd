// Package demo makes the register of an invented service company: forty sites in several time zones and jurisdictions,
// four hundred doors of every kind, and three years of their history, with the troubles that real fleets have.
//
// It is made by the use-cases of fleet and identity, with a clock and ids that run through those three years, so that
// everything is dated when it would have been recorded. The same seed and the same last day give the same bytes. What is
// in it that a company would want to find:
//
//   - a wide antenna above a corridor, and one that was changed for a narrow one;
//   - sensors on the side to which the leaf swings; mounts that drifted between two inspections;
//   - values copied from paper, values that nobody knows, and doors without a recorded rule basis (all that have no rule
//     pack yet, and those that came from paper until their first inspection);
//   - doors that are overdue, and notices about them; a customer and a door that were entered twice;
//   - sites that changed hands; unsafe doors that were secured and mended, and one whose owner refused;
//   - a technician whose certificate ran out, and the visit that therefore nobody has signed.
//
// To add a person, a customer, a site, a model or what technicians find: a line of company.yaml. To add a kind of door: a
// pattern in door.go. To add a trouble: a step of its own in trouble.go, at a place and a day of the history.
package demo

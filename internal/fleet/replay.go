package fleet

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/tidwall/gjson"
	"golang.org/x/sync/errgroup"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// ReplayAsk asks what signed inspections would have come to by a pack. Nothing is written.
//
// A pack of the company's, or law, judges beside what was sealed, in the place of an edition of the same name if one judged; a basis
// judges the doors whose basis is an edition of it. A door is taken as it was known when the visit was signed, and the readings are
// those of the signed record: what differs is the rules alone.
type ReplayAsk struct {
	Pack  *rulebook.Pack
	Until time.Time // inspections whose signature had arrived by then
	Last  int       // the newest so many of the fleet; 0: the last of every door
	Part  int       // how many are read at a time; 0: 500, some dozen megabytes of records
	Alone bool      // judge on one processor and leave the others to those who wait for pages
}

// ReplayCursor is where a replay stands. The zero value is its beginning; from any other the rest comes out as it would have.
type ReplayCursor struct {
	Door  uuid.UUID `json:"door,omitzero"`  // with every door's last: the last door that was looked at
	At    time.Time `json:"at,omitzero"`    // with the newest: the last one's instant
	Entry uuid.UUID `json:"entry,omitzero"` // and its entry
	Done  int       `json:"done"`           // doors looked at, or inspections
}

// ReplayPage is a part of a replay.
type ReplayPage struct {
	Changed []ReplayedInspection // of which the pack says otherwise, in the order of the replay
	Sum     ReplaySum            // of this part
	Next    ReplayCursor
}

// Results beside those of the rulebook: nobody's rules said anything.
const resultUnjudged rulebook.Result = "unjudged"

// ReplayedInspection is an inspection that would come to something else.
type ReplayedInspection struct {
	DoorID      uuid.UUID       `json:"door_id"`
	Tag         Tag             `json:"tag"`
	Name        string          `json:"name"`
	SiteName    string          `json:"site"`
	VisitID     uuid.UUID       `json:"visit_id"`
	ConcludedAt time.Time       `json:"concluded_at"`
	Then        rulebook.Result `json:"then"` // as sealed: passed, failed, incomplete or unjudged
	Now         rulebook.Result `json:"now"`
	Packs       []string        `json:"packs"` // that judged then
	Rules       []ReplayedRule  `json:"rules"` // of the pack, that say otherwise and bear on the result
}

// ReplayedRule is a rule that says otherwise.
type ReplayedRule struct {
	ID    string           `json:"id"`
	Then  rulebook.Outcome `json:"then,omitempty"` // "": it did not judge then, or not judges now
	Now   rulebook.Outcome `json:"now,omitempty"`
	Lacks []string         `json:"lacks,omitempty"` // readings and facts for want of which it is not judged
}

// ReplaySum counts inspections.
type ReplaySum struct {
	Judged  int                `json:"judged"`  // by the pack
	Others  int                `json:"others"`  // at doors that the pack is not for
	Changes map[ReplayStep]int `json:"changes"` // by what they came to and would come to
	Rules   map[string]int     `json:"rules"`   // changed inspections, by each rule that says otherwise
}

// ReplayStep is from what to what.
type ReplayStep struct{ Then, Now rulebook.Result }

// MarshalText makes it a key: "passed>failed".
func (s ReplayStep) MarshalText() ([]byte, error) {
	return []byte(string(s.Then) + ">" + string(s.Now)), nil
}

// UnmarshalText reads it back.
func (s *ReplayStep) UnmarshalText(text []byte) error {
	then, now, ok := strings.Cut(string(text), ">")
	if !ok {
		return fmt.Errorf("%q is no step", text)
	}
	s.Then, s.Now = rulebook.Result(then), rulebook.Result(now)
	return nil
}

// Add adds what another part counted.
func (s *ReplaySum) Add(o ReplaySum) {
	if s.Changes == nil {
		s.Changes, s.Rules = map[ReplayStep]int{}, map[string]int{}
	}
	s.Judged += o.Judged
	s.Others += o.Others
	for step, n := range o.Changes {
		s.Changes[step] += n
	}
	for rule, n := range o.Rules {
		s.Rules[rule] += n
	}
}

// Changed is how many inspections would come to something else.
func (s ReplaySum) Changed() (n int) {
	for step, k := range s.Changes {
		if step.Then != step.Now {
			n += k
		}
	}
	return n
}

// Steps are those that were taken, in the order of their names.
func (s ReplaySum) Steps() []ReplayStep {
	return slices.SortedFunc(maps.Keys(s.Changes), func(a, b ReplayStep) int { return cmp.Or(cmp.Compare(a.Then, b.Then), cmp.Compare(a.Now, b.Now)) })
}

// InspectedDoor is a signed inspection of a door, and the door as it was known when it was signed.
type InspectedDoor struct {
	Door                   Door
	SiteName, Jurisdiction string
	VisitID, EntryID       uuid.UUID // of the conclusion
	ConcludedAt            time.Time
}

type replayRows interface {
	// CountDoors counts the doors in sight.
	CountDoors(ctx context.Context) (int, error)
	// CountInspections counts the inspections in sight whose signature had arrived by an instant.
	CountInspections(ctx context.Context, until time.Time) (int, error)
	// DoorIDs lists doors by id.
	DoorIDs(ctx context.Context, after uuid.UUID, limit int) ([]uuid.UUID, error)
	// LastInspections gives the last inspection of each of the doors that had one signed by an instant, by door.
	LastInspections(ctx context.Context, doors []uuid.UUID, until time.Time) ([]InspectedDoor, error)
	// NewestInspections lists inspections before one, the newest first.
	NewestInspections(ctx context.Context, beforeAt time.Time, before uuid.UUID, until time.Time, limit int) ([]InspectedDoor, error)
	// VisitRecords gives the signed records of visits.
	VisitRecords(ctx context.Context, visits []uuid.UUID) (map[uuid.UUID][]byte, error)
}

// ReplaySize is how many doors, or inspections, a replay looks at.
func (f *Fleet) ReplaySize(ctx context.Context, by identity.Actor, ask ReplayAsk) (n int, err error) {
	if ask.Last > 0 {
		return ask.Last, nil
	}
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		n, err = tx.CountDoors(ctx)
		return err
	})
	return n, err
}

// Replay judges signed inspections by a pack, from a cursor on, and gives each part in order. The next part is read while one is judged.
func (f *Fleet) Replay(ctx context.Context, by identity.Actor, ask ReplayAsk, from ReplayCursor, each func(ReplayPage) error) error {
	if ask.Pack.Role == rulebook.Owner {
		return fault.New(fault.Invalid, "pack_judges_no_inspection", "pack", ask.Pack.ID)
	}
	g, ctx := errgroup.WithContext(ctx)
	parts := make(chan replayPart, 1)
	g.Go(func() error {
		defer close(parts)
		for {
			part, end, err := f.replayPart(ctx, by, ask, from)
			if err != nil || end {
				return err
			}
			select {
			case parts <- part:
			case <-ctx.Done():
				return ctx.Err()
			}
			from = part.next
		}
	})
	g.Go(func() error {
		for part := range parts {
			page, err := f.judgePart(ask, part)
			if err != nil {
				return err
			}
			if err := each(page); err != nil {
				return err
			}
		}
		return nil
	})
	return g.Wait()
}

// replayPart is what was read for one part.
type replayPart struct {
	inspections []InspectedDoor
	records     map[uuid.UUID][]byte
	next        ReplayCursor
}

func (f *Fleet) replayPart(ctx context.Context, by identity.Actor, ask ReplayAsk, from ReplayCursor) (part replayPart, end bool, err error) {
	size := cmp.Or(ask.Part, 500)
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		part, end = replayPart{next: from}, false
		if ask.Last > 0 {
			limit := min(size, ask.Last-from.Done)
			if limit <= 0 {
				end = true
				return nil
			}
			if part.inspections, err = tx.NewestInspections(ctx, from.At, from.Entry, ask.Until, limit); err != nil {
				return err
			}
			n := len(part.inspections)
			if end = n == 0; end {
				return nil
			}
			part.next = ReplayCursor{At: part.inspections[n-1].ConcludedAt, Entry: part.inspections[n-1].EntryID, Done: from.Done + n}
		} else {
			doors, err := tx.DoorIDs(ctx, from.Door, size)
			if err != nil {
				return err
			}
			if end = len(doors) == 0; end {
				return nil
			}
			part.next = ReplayCursor{Door: doors[len(doors)-1], Done: from.Done + len(doors)}
			if part.inspections, err = tx.LastInspections(ctx, doors, ask.Until); err != nil {
				return err
			}
		}
		var visits []uuid.UUID
		for _, i := range part.inspections {
			visits = append(visits, i.VisitID)
		}
		part.records, err = tx.VisitRecords(ctx, sortedOnce(visits))
		return err
	})
	return part, end, err
}

// judgePart judges the inspections of one part, a visit at a time, so that each record is read once.
func (f *Fleet) judgePart(ask ReplayAsk, part replayPart) (page ReplayPage, err error) {
	of := map[uuid.UUID][]int{}
	for i, one := range part.inspections {
		of[one.VisitID] = append(of[one.VisitID], i)
	}
	results := make([]replayResult, len(part.inspections))
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	if ask.Alone {
		g.SetLimit(1)
	}
	for visit, list := range of {
		g.Go(func() error {
			doors := make([]uuid.UUID, len(list))
			for n, i := range list {
				doors[n] = part.inspections[i].Door.DoorID
			}
			record, err := readRecord(part.records[visit], doors...)
			if err != nil {
				return fmt.Errorf("signed record of visit %s: %w", visit, err)
			}
			for _, i := range list {
				results[i] = f.replayOne(ask.Pack, part.inspections[i], record)
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		return page, err
	}
	page.Next = part.next
	page.Sum.Add(ReplaySum{})
	for _, r := range results {
		if !r.judged {
			page.Sum.Others++
			continue
		}
		page.Sum.Judged++
		page.Sum.Changes[ReplayStep{r.Then, r.Now}]++
		if r.Then == r.Now {
			continue
		}
		for _, rule := range r.Rules {
			page.Sum.Rules[rule.ID]++
		}
		page.Changed = append(page.Changed, r.ReplayedInspection)
	}
	return page, nil
}

type replayResult struct {
	ReplayedInspection
	judged bool // by the pack
}

// replayRecord is what a replay reads of a signed record, by doors.
type replayRecord struct {
	entries map[uuid.UUID][]Entry
	judged  map[uuid.UUID][]judgedDoor
}

// readRecord reads the entries of some doors, of all of their members only those that readings rest on, and what was judged there, of the
// verdicts only what a result rests on. The rest of a record is most of it, and encoding/json would look at all of it twice; the record
// was sealed, so it is JSON.
func readRecord(canonical []byte, doors ...uuid.UUID) (of replayRecord, err error) {
	of.entries, of.judged = map[uuid.UUID][]Entry{}, map[uuid.UUID][]judgedDoor{}
	var problems []error
	problem := func(err error) {
		if err != nil {
			problems = append(problems, err)
		}
	}
	doorOf := func(r gjson.Result) (id uuid.UUID, asked bool) {
		id, err := uuid.Parse(r.Str)
		problem(err)
		return id, slices.Contains(doors, id)
	}
	gjson.ParseBytes(canonical).ForEach(func(key, list gjson.Result) bool {
		switch key.Str {
		case "entries":
			list.ForEach(func(_, recorded gjson.Result) bool {
				var id string
				var body gjson.Result
				recorded.ForEach(func(key, value gjson.Result) bool {
					switch key.Str {
					case "entry_id":
						id = value.Str
					case "entry":
						body = value
					}
					return true
				})
				door, asked := doorOf(body.Get("door_id"))
				if !asked {
					return true
				}
				e, err := readEntry(door, id, body)
				problem(err)
				of.entries[door] = append(of.entries[door], e)
				return true
			})
		case "judged":
			list.ForEach(func(_, judged gjson.Result) bool {
				if door, asked := doorOf(judged.Get("door_id")); asked {
					of.judged[door] = append(of.judged[door], readJudged(door, judged))
				}
				return true
			})
		}
		return true
	})
	return of, errors.Join(problems...)
}

// readEntry reads an entry; of a reading, of which there are most, what readingsOf looks at.
func readEntry(door uuid.UUID, id string, body gjson.Result) (e Entry, err error) {
	if e.EntryID, err = uuid.Parse(id); err != nil {
		return e, err
	}
	e.DoorID = door
	if body.Get("kind").Str != "reading" {
		err = json.Unmarshal([]byte(body.Raw), &e.Body)
		e.ObservedAt = e.Body.ObservedAt
		return e, err
	}
	body.ForEach(func(key, value gjson.Result) bool {
		switch key.Str {
		case "observed_at":
			e.ObservedAt, err = time.Parse(time.RFC3339Nano, value.Str)
		case "corrects":
			var corrects uuid.UUID
			corrects, err = uuid.Parse(value.Str)
			e.Body.Corrects = &corrects
		case "reading":
			e.Body.Reading = readReading(value)
		}
		return err == nil
	})
	return e, err
}

func readReading(body gjson.Result) *EntryReading {
	r := EntryReading{}
	body.ForEach(func(key, value gjson.Result) bool {
		switch key.Str {
		case "name":
			r.Name = value.Str
		case "value":
			r.Value = &value.Num
		case "yes":
			yes := value.Bool()
			r.Yes = &yes
		case "text":
			r.Text = value.Str
		case "question":
			r.Question = value.Str
		case "leaf":
			r.Leaf = int(value.Num)
		case "side":
			r.Side = value.Str
		case "uncertainty":
			r.Uncertainty = &value.Num
		}
		return true
	})
	return &r
}

func readJudged(door uuid.UUID, judged gjson.Result) judgedDoor {
	one := judgedDoor{DoorID: door}
	judged.ForEach(func(key, value gjson.Result) bool {
		switch key.Str {
		case "pack":
			one.Pack = value.Str
		case "beside":
			one.Beside = rulebook.Role(value.Str)
		case "verdicts":
			value.ForEach(func(_, verdict gjson.Result) bool {
				var v rulebook.Verdict
				verdict.ForEach(func(key, value gjson.Result) bool {
					switch key.Str {
					case "rule_id":
						v.RuleID = value.Str
					case "outcome":
						v.Outcome = rulebook.Outcome(value.Str)
					case "weight":
						v.Weight = rulebook.Weight(value.Str)
					case "severity":
						v.Severity = rulebook.Severity(value.Str)
					}
					return true
				})
				one.Verdicts = append(one.Verdicts, v)
				return true
			})
		}
		return true
	})
	return one
}

// replayOne holds an inspection against the pack.
func (f *Fleet) replayOne(pack *rulebook.Pack, i InspectedDoor, record replayRecord) replayResult {
	facts := i.Door.Facts
	id := i.Door.DoorID
	r := replayResult{ReplayedInspection: ReplayedInspection{DoorID: id, Tag: i.Door.Tag, Name: i.Door.Name, SiteName: i.SiteName, VisitID: i.VisitID, ConcludedAt: i.ConcludedAt}}
	sealed := record.judged[id]
	var before *judgedDoor // by an edition of the pack
	rest := []judgedDoor{}
	for _, j := range sealed {
		r.Packs = append(r.Packs, j.Pack)
		if name, _, _ := strings.Cut(f.packIDNow(j.Pack), "@"); name == pack.Name() {
			before = &j
			continue
		}
		rest = append(rest, j)
	}
	applies := pack.IsFor(rulebook.DoorKind(facts.Kind), rulebook.Energy(facts.Energy)) && (pack.Role == rulebook.Basis || pack.HoldsAt(i.Jurisdiction))
	if before == nil && (!applies || pack.Role == rulebook.Basis) {
		return r
	}
	r.judged = true
	conclusion := Entry{DoorID: id, EntryID: i.EntryID, ObservedAt: i.ConcludedAt}
	now := judgedDoor{DoorID: id, Pack: pack.ID}
	if applies {
		now = judgeBy(pack, id, inspectedFacts(facts), readingsOf(id, conclusion, record.entries[id]))
		rest = append(rest, now)
	}
	r.Then, r.Now = comesTo(sealed), comesTo(rest)
	if r.Then != r.Now {
		r.Rules = otherwise(before, now)
	}
	return r
}

// BecauseText says in words which rules say otherwise.
func BecauseText(texts words.Printer, rules []ReplayedRule) string {
	var parts []string
	for _, r := range rules {
		switch {
		case r.Now == rulebook.NotJudged && len(r.Lacks) > 0:
			parts = append(parts, texts.T("replay.rule.lacks", "rule", r.ID, "names", strings.Join(r.Lacks, ", ")))
		case r.Now == "":
			parts = append(parts, texts.T("replay.rule.gone", "rule", r.ID))
		default:
			parts = append(parts, texts.T("replay.rule."+string(r.Now), "rule", r.ID))
		}
	}
	return strings.Join(parts, "; ")
}

// packIDNow is the id that a sealed pack has today.
func (f *Fleet) packIDNow(id string) string {
	if p, ok := f.Book.Pack(id); ok {
		return p.ID
	}
	return id
}

// comesTo says what the packs that judged a door amount to: failed when a rule that bears on it failed, incomplete when a door could not
// be called passed by one of them, unjudged when none of them said anything.
func comesTo(judged []judgedDoor) rulebook.Result {
	result := resultUnjudged
	for _, j := range judged {
		switch {
		case rulebook.Conclude(j.Verdicts) == rulebook.InspectionFailed:
			return rulebook.InspectionFailed
		case j.allowsPassed() != nil:
			result = rulebook.InspectionIncomplete
		case result == resultUnjudged && slices.ContainsFunc(j.Verdicts, func(v rulebook.Verdict) bool { return v.Counts() && v.Outcome == rulebook.Passed }):
			result = rulebook.InspectionPassed
		}
	}
	return result
}

// otherwise lists the rules that bear on the result and say something else than before, those of now in the pack's order, then those
// that are gone.
func otherwise(before *judgedDoor, now judgedDoor) (rules []ReplayedRule) {
	was := map[string]rulebook.Verdict{}
	if before != nil {
		for _, v := range before.Verdicts {
			was[v.RuleID] = v
		}
	}
	for _, v := range now.Verdicts {
		old := was[v.RuleID]
		delete(was, v.RuleID)
		if v.Outcome == old.Outcome && v.Counts() == old.Counts() || !v.Counts() && !old.Counts() || v.Outcome == rulebook.Passed && old.Outcome == "" || v.Outcome == rulebook.NotApplicable && old.Outcome == "" {
			continue
		}
		one := ReplayedRule{ID: v.RuleID, Then: old.Outcome, Now: v.Outcome}
		for _, g := range v.Gaps {
			one.Lacks = append(one.Lacks, g.Name)
		}
		rules = append(rules, one)
	}
	for _, old := range was {
		if old.Counts() && old.Outcome != rulebook.Passed && old.Outcome != rulebook.NotApplicable {
			rules = append(rules, ReplayedRule{ID: old.RuleID, Then: old.Outcome})
		}
	}
	slices.SortStableFunc(rules, func(a, b ReplayedRule) int { return cmp.Compare(a.ID, b.ID) })
	return rules
}

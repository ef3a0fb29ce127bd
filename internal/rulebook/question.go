package rulebook

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"cel.dev/cel-go/common/types"
)

// Question is one thing that a company asks at a door beside what its rules ask. It declares a reading of its own, named own.NAME, and is judged as a rule
// of the question's id: by what is wanted, or, where nothing is, by having been answered. Rules of the pack may name the reading, too.
type Question struct {
	ID       string     `yaml:"id"`    // of its rule; lower-case words joined by -
	Title    string     `yaml:"title"` // short: stands before the answer in forms, journals and reports
	Asks     string     `yaml:"asks"`  // the question, or what is wanted, in one sentence
	Method   string     `yaml:"method"`
	Answer   ValueKind  `yaml:"answer"` // how it is answered
	Unit     string     `yaml:"unit"`   // of a number, SI; the reading's name ends in it
	Least    *float64   `yaml:"least"`  // and what it may be, in Unit: outside is a slip of the pen
	Most     *float64   `yaml:"most"`
	Choices  []string   `yaml:"choices"` // of a choice, in the order of the form
	Station  Station    `yaml:"station"` // where on the walk it is asked, behind what rules ask there
	Each     Each       `yaml:"each"`    // once a door when left out; at the approach once a side
	Required bool       `yaml:"required"`
	When     Expression `yaml:"when"`     // over facts; always when left out
	Wanted   []string   `yaml:"wanted"`   // answers with which nothing is wrong: yes or no, or some of the choices
	Limit    *Limit     `yaml:"limit"`    // the same of a number
	Severity Severity   `yaml:"severity"` // of another answer; none when no answer is wrong
	Standing Standing   `yaml:"standing"`
	Source   Source     `yaml:"source"`

	reading ReadingKind
	sound   bool // nothing is wrong with its answer: a rule can be made of it
}

// NoSeverity is the severity of a question to which no answer is wrong.
const NoSeverity Severity = "none"

// OwnPrefix begins the name of every reading that a company's question declares; no other reading's name has it.
const OwnPrefix = "own."

// What a question may be made of.
const (
	mostQuestions  = 200
	mostChoices    = 30
	longestTitle   = 200
	longestChoice  = 80
	LongestAnswer  = 1000 // of a text, in characters
	longestOwnName = 60
)

// IsOwn tells whether a reading is declared by a company's question.
func IsOwn(name string) bool { return strings.HasPrefix(name, OwnPrefix) }

// Reading is what the question declares. It is complete once the pack is loaded.
func (q *Question) Reading() ReadingKind { return q.reading }

// OwnReadings are the readings that the pack's questions declare, in its order.
func (p *Pack) OwnReadings() (kinds []ReadingKind) {
	for _, q := range p.Questions {
		kinds = append(kinds, q.reading)
	}
	return kinds
}

// UnitOf gives the unit of a reading by its name alone: numbers of a company's questions have theirs at its end. "" for answers, and for
// what is no reading.
func UnitOf(name string) string {
	if k := readingNamed(name); k != nil {
		return k.Unit
	}
	return ""
}

// IsReading tells whether something of that name is read at a door, or may be by a question of some company's.
func IsReading(name string) bool { return readingNamed(name) != nil }

// ownNamed is as much of a company's reading as its name says.
func ownNamed(name string) *ReadingKind {
	k := ReadingKind{Name: name}
	for _, si := range siUnits {
		if strings.HasSuffix(name, suffixOf(si)) {
			k.Kind, k.Unit = Number, si
		}
	}
	return &k
}

var siUnits = []string{"s", "m", "kg", "N", "J", "m/s", "deg", "rpm", "months"}

// questionID is a rule's id that is a name in expressions, too.
var questionID = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)

// reservedWords are no names in CEL.
var reservedWords = []string{"as", "break", "const", "continue", "else", "false", "for", "function", "if", "import", "in", "let", "loop", "namespace", "null", "package", "return", "true", "var", "void", "while"}

// completeQuestions checks the pack's questions, gives them their readings, and gives the language that may name these. What is misnamed is left out of
// it, and its users say so.
func (p *Pack) completeQuestions(l *language) (*language, []error) {
	if len(p.Questions) == 0 {
		return l, nil
	}
	if len(p.Questions) > mostQuestions {
		return l, []error{inside("questions", fmt.Errorf("%d, more than the %d that a pack may ask", len(p.Questions), mostQuestions))}
	}
	var problems []error
	if p.Role != Company {
		problems = append(problems, inside("questions", errors.New("only a company's pack asks questions of its own")))
	}
	var known []ReadingKind
	for i, q := range p.Questions {
		if q == nil {
			problems = append(problems, inside("questions", errors.New("an empty question"), "questions", i))
			continue
		}
		err := q.declare()
		problems = append(problems, inside("question "+q.ID, err, "questions", i))
		if q.sound = err == nil; q.reading.Name == "" || readingType(q.reading.Kind) == nil {
			continue
		}
		if slices.ContainsFunc(known, func(k ReadingKind) bool { return k.Name == q.reading.Name }) {
			problems = append(problems, inside("question "+q.ID, fmt.Errorf("%s: twice in this pack", q.reading.Name), "questions", i, "id"))
			q.sound = false
			continue
		}
		known = append(known, q.reading)
	}
	with, err := l.asking(known)
	if err != nil {
		return l, append(problems, err)
	}
	return with, problems
}

// declare checks what the question says of its answer and makes its reading.
func (q *Question) declare() error {
	name := strings.ReplaceAll(q.ID, "-", "_")
	if questionID.MatchString(q.ID) && len(q.ID) <= longestOwnName && !slices.Contains(reservedWords, name) {
		q.reading = ReadingKind{Name: OwnPrefix + name, Kind: q.Answer, Title: q.Title, Choices: q.Choices} // whatever else is wrong, rules may name it
	}
	if err := required("id", q.ID, "title", q.Title, "asks", q.Asks, "answer", string(q.Answer), "station", string(q.Station), "severity", string(q.Severity), "standing", string(q.Standing)); err != nil {
		return err
	}
	switch {
	case !questionID.MatchString(q.ID) || len(q.ID) > longestOwnName:
		return inside("id", fmt.Errorf("id %q: want lower-case words, joined by -, the first beginning with a letter, %d signs at the most", q.ID, longestOwnName))
	case slices.Contains(reservedWords, name):
		return inside("id", fmt.Errorf("id %s: a word of the language of expressions", q.ID))
	case len([]rune(q.Title)) > longestTitle || strings.ContainsAny(q.Title, "\n\r\t"):
		return inside("title", fmt.Errorf("want one line of %d signs at the most", longestTitle))
	case !slices.Contains(Stations(), q.Station):
		return inside("station", fmt.Errorf("%q: want %s", q.Station, orList(Stations())))
	}
	each := q.Each
	if each == "" {
		if each = EachDoor; q.Station == Approach {
			each = EachSide
		}
	}
	switch all := []Each{EachDoor, EachSide, EachLeaf, EachSwing}; {
	case !slices.Contains(all, each):
		return inside("each", fmt.Errorf("%q: want %s", q.Each, orList(all)))
	case q.Station == Approach && each != EachSide:
		return inside("each", errors.New("at the approach everything is asked once a side"))
	}
	q.reading.Station, q.reading.Each = q.Station, each
	if err := q.checkAnswer(); err != nil {
		return err
	}
	return q.checkWanted()
}

func orList[T ~string](words []T) string {
	texts := make([]string, len(words))
	for i, w := range words {
		texts[i] = string(w)
	}
	return strings.Join(texts[:len(texts)-1], ", ") + " or " + texts[len(texts)-1]
}

// checkAnswer checks the kind of the answer with what belongs to it.
func (q *Question) checkAnswer() error {
	kinds := []ValueKind{YesNo, Number, Choice, Text}
	if !slices.Contains(kinds, q.Answer) {
		return inside("answer", fmt.Errorf("%q: want %s", q.Answer, orList(kinds)))
	}
	if q.Answer != Number {
		switch {
		case q.Unit != "":
			return inside("unit", errors.New("only a number has unit, least and most"))
		case q.Least != nil:
			return inside("least", errors.New("only a number has unit, least and most"))
		case q.Most != nil:
			return inside("most", errors.New("only a number has unit, least and most"))
		case ownNamed(q.reading.Name).Unit != "":
			return inside("id", fmt.Errorf("id %s: ends as the name of a number in %s does", q.ID, ownNamed(q.reading.Name).Unit))
		}
	}
	if q.Answer != Choice && q.Choices != nil {
		return inside("choices", errors.New("only a choice has choices"))
	}
	switch q.Answer {
	case Number:
		return q.checkNumber()
	case Choice:
		return q.checkChoices()
	}
	return nil
}

func (q *Question) checkNumber() error {
	u, err := unitNamed(q.Unit)
	switch {
	case q.Unit == "":
		return errors.New("unit: required")
	case err != nil:
		return inside("unit", err)
	}
	q.reading.Name += suffixOf(u.si)
	q.reading.Unit = u.si
	switch {
	case u.si != q.Unit:
		return inside("unit", fmt.Errorf("%s is no SI unit: write %s, and let the limit name its own", q.Unit, u.si))
	case q.Least == nil || q.Most == nil:
		return errors.New("least, most: required")
	case !(*q.Least < *q.Most) || numberProblem(*q.Least, -1e9, 1e9) != "" || numberProblem(*q.Most, -1e9, 1e9) != "":
		return inside("least", fmt.Errorf("%g to %g: want less than most, and numbers of a door", *q.Least, *q.Most))
	}
	q.reading.Min, q.reading.Max = *q.Least, *q.Most
	return nil
}

func (q *Question) checkChoices() error {
	if len(q.Choices) < 2 || len(q.Choices) > mostChoices {
		return inside("choices", fmt.Errorf("%d: want 2 to %d", len(q.Choices), mostChoices))
	}
	for i, c := range q.Choices {
		switch {
		case strings.TrimSpace(c) != c || c == "" || len([]rune(c)) > longestChoice || strings.ContainsFunc(c, func(r rune) bool { return r < ' ' || r == 0x7f }):
			return inside("choices", fmt.Errorf("%q: want one line of 1 to %d signs", c, longestChoice), "choices", i)
		case slices.Contains(q.Choices[:i], c):
			return inside("choices", fmt.Errorf("%q: twice", c), "choices", i)
		}
	}
	return nil
}

// checkWanted checks that what is wanted fits the answer, and the severity fits what is wanted.
func (q *Question) checkWanted() error {
	choices := q.Choices
	if q.Answer == YesNo {
		choices = []string{"yes", "no"}
	}
	switch {
	case q.Limit != nil && q.Answer != Number:
		return inside("limit", errors.New("only a number has a limit; wanted names the answers that are right"))
	case q.Wanted != nil && choices == nil:
		return inside("wanted", errors.New("only yes or no, and a choice, have wanted answers; a number has a limit"))
	case q.Wanted != nil && len(q.Wanted) == 0:
		return inside("wanted", errors.New("names no answer"))
	}
	for i, w := range q.Wanted {
		if !slices.Contains(choices, w) {
			return inside("wanted", fmt.Errorf("%q is none of the answers: %s", w, strings.Join(choices, ", ")), "wanted", i)
		}
		if slices.Contains(q.Wanted[:i], w) {
			return inside("wanted", fmt.Errorf("%q: twice", w), "wanted", i)
		}
	}
	isWanted := q.Wanted != nil || q.Limit != nil
	switch {
	case !slices.Contains([]Severity{Unsafe, Deficient, Advisory, NoSeverity}, q.Severity):
		return inside("severity", fmt.Errorf("%q: want unsafe, deficient, advisory or none", q.Severity))
	case len(q.Wanted) > 0 && len(q.Wanted) == len(choices):
		return inside("wanted", errors.New("every answer is wanted, so none is wrong: leave wanted out, with the severity none"))
	case isWanted && q.Severity == NoSeverity:
		return inside("severity", errors.New("none, although another answer than the wanted one is wrong"))
	case !isWanted && q.Severity != NoSeverity:
		return inside("severity", fmt.Errorf("%s, although no answer is wrong", q.Severity))
	case q.Standing == FromMemory:
		return inside("standing", errors.New("from_memory: a question is the company's own, or it is known where it stands"))
	}
	return nil
}

// rule is what judges the question.
func (q *Question) rule() *Rule {
	r := &Rule{ID: q.ID, Title: q.Title, Asks: q.Asks, Method: q.Method, When: q.When, Severity: q.Severity, Standing: q.Standing, Source: q.Source, Question: q}
	name := readingPrefix + q.reading.Name
	switch {
	case q.Limit != nil:
		r.Measured, r.Limit = Expression(name), q.Limit
	case q.Wanted == nil:
		r.pass = anyAnswer(q.reading)
	case q.Answer == YesNo && q.Wanted[0] == "no":
		r.Pass = Expression("!" + name)
	case q.Answer == YesNo:
		r.Pass = Expression(name)
	default:
		quotedOnes := make([]string, len(q.Wanted))
		for i, w := range q.Wanted {
			quotedOnes[i] = strconv.Quote(w)
		}
		r.Pass = Expression(name + " in [" + strings.Join(quotedOnes, ", ") + "]")
	}
	return r
}

// anyAnswer is true of every answer there is.
func anyAnswer(k ReadingKind) *program {
	return &program{source: "answered", readings: []ReadingKind{k}, every: []ReadingKind{k}, literal: types.True}
}

// leftOpen tells whether all that is wanting is the answer to a question that need not be answered.
func (r *Rule) leftOpen(gaps []Gap) bool {
	return r.Question != nil && !r.Question.Required && !slices.ContainsFunc(gaps, func(g Gap) bool { return g.Problem != Missing || !IsReading(g.Name) })
}

package console

import (
	"context"
	"net/http"
	"regexp"
	"slices"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type letterTextsData struct {
	Lines []letterTextLine // the company's, by kind, the newest first
	Kinds []string
}

// letterTextLine is a version of a text with who wrote and who approved it.
type letterTextLine struct {
	fleet.LetterTemplate
	By, Approver string
}

// Approved tells whether letters may be issued from it.
func (l letterTextLine) Approved() bool { return l.ApprovedAt != nil }

// Parts are the text, cut at its places.
func (l letterTextLine) Parts() (parts []letterPart) {
	from := 0
	for _, at := range letterPlaces.FindAllStringIndex(l.Text, -1) {
		parts = append(parts, letterPart{Text: l.Text[from:at[0]]}, letterPart{Text: l.Text[at[0]:at[1]], Place: true})
		from = at[1]
	}
	return append(parts, letterPart{Text: l.Text[from:]})
}

type letterPart struct {
	Text  string
	Place bool // that is filled when a letter is issued
}

var letterPlaces = regexp.MustCompile(`\{[^{}]*\}`)

// letterTextLines gives every text, shipped drafts first, with the names of people.
func (c *Console) letterTextLines(ctx context.Context, q *request) (lines []letterTextLine, err error) {
	list, err := c.Fleet.LetterTemplates(ctx, q.by)
	if err != nil {
		return nil, err
	}
	var people []uuid.UUID
	for _, l := range list {
		people = append(people, l.WrittenBy, l.ApprovedBy)
	}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{People: people})
	if err != nil {
		return nil, err
	}
	w := writer{q.texts}
	for _, l := range list {
		line := letterTextLine{LetterTemplate: l}
		if l.TemplateID != uuid.Nil {
			line.By = w.person(names, l.WrittenBy)
		}
		if l.ApprovedAt != nil {
			line.Approver = w.person(names, l.ApprovedBy)
		}
		lines = append(lines, line)
	}
	return lines, nil
}

// letterTexts lists the company's texts of letters.
func (c *Console) letterTexts(ctx context.Context, q *request) (answer, error) {
	lines, err := c.letterTextLines(ctx, q)
	if err != nil {
		return nil, err
	}
	own := slices.DeleteFunc(lines, func(l letterTextLine) bool { return l.TemplateID == uuid.Nil })
	return page{name: "letters", data: letterTextsData{own, fleet.LetterKinds()}}, nil
}

// letterText shows one version; the newest of its kind leads on.
func (c *Console) letterText(ctx context.Context, q *request) (answer, error) {
	return c.letterTextPage(ctx, q, newForm(nil), http.StatusOK)
}

type letterTextData struct {
	letterTextLine
	Places []string
	Form   form
	Own    bool // whoever looks wrote it, and somebody else may approve it
	Alone  bool // whoever looks wrote it, and nobody else may approve it
}

func (c *Console) letterTextPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	id, err := q.pathID("template_id")
	if err != nil {
		return nil, err
	}
	lines, err := c.letterTextLines(ctx, q)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(lines, func(l letterTextLine) bool { return l.TemplateID == id && id != uuid.Nil })
	if i < 0 {
		return nil, fault.New(fault.NotFound, "letter_template_not_found")
	}
	data := letterTextData{letterTextLine: lines[i], Places: fleet.LetterPlaces(), Form: f}
	if !data.Approved() && q.by.May(identity.ActSetLetters) {
		may, alone, err := c.Fleet.MayApproveLetter(ctx, q.by, data.LetterTemplate)
		if err != nil {
			return nil, err
		}
		data.Own, data.Alone = !may, alone
	}
	return page{name: "letter", status: status, data: data}, nil
}

// letterTextApprove lets letters be issued from a version.
func (c *Console) letterTextApprove(ctx context.Context, q *request) (answer, error) {
	id, f, err := q.formOf("template_id")
	if err != nil {
		return nil, err
	}
	if _, _, err := c.Fleet.ApproveLetterTemplate(ctx, q.by, id, f.Value("/read_by")); err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.letterTextPage(ctx, q, f, status) })
	}
	return seeOther("/letter-templates/" + id.String()), nil
}

type letterWriteData struct {
	Kind   string
	Places []string
	Form   form
}

// letterTextNew begins the next version of a kind: with the newest of the company's, or with the shipped draft.
func (c *Console) letterTextNew(ctx context.Context, q *request) (answer, error) {
	kind := q.URL.Query().Get("kind")
	list, err := c.Fleet.LetterTemplates(ctx, q.by)
	if err != nil {
		return nil, err
	}
	text, newest := "", -1
	for _, l := range list {
		if l.Kind == kind && l.Version > newest {
			text, newest = l.Text, l.Version
		}
	}
	if newest < 0 {
		return nil, fault.New(fault.NotFound, "route_not_found")
	}
	return letterWritePage(newForm(map[string]string{"template_id": c.NewID().String(), "/kind": kind, "/text": text}), http.StatusOK)
}

func letterWritePage(f form, status int) (answer, error) {
	return page{name: "letter-write", status: status, data: letterWriteData{f.Value("/kind"), fleet.LetterPlaces(), f}}, nil
}

// letterTextAdd keeps the next version of a kind.
func (c *Console) letterTextAdd(ctx context.Context, q *request) (answer, error) {
	f, err := q.form()
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	l := fleet.LetterTemplate{TemplateID: r.id("template_id"), Kind: f.Value("/kind"), Text: f.Value("/text")}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.PutLetterTemplate(ctx, q.by, l)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return letterWritePage(f, status) })
	}
	return seeOther("/letter-templates/" + l.TemplateID.String()), nil
}

type doorLettersData struct {
	Door    fleet.Door
	Lines   []issuedLine // letters that were issued, the newest first
	Open    []fleet.Finding
	Texts   []option
	Issues  bool // there is a text from which a letter may be issued
	Form    form
	Preview bool // whoever looks may preview
	Office  bool // whoever looks sees what was done with letters
}

// issuedLine is a letter that was issued, with what was done with it.
type issuedLine struct {
	reportLine
	Said string
}

// doorLetters lists the letters about a door's findings and offers another.
func (c *Console) doorLetters(ctx context.Context, q *request) (answer, error) {
	return c.doorLettersPage(ctx, q, newForm(map[string]string{"report_id": c.NewID().String()}), http.StatusOK)
}

func (c *Console) doorLettersPage(ctx context.Context, q *request, f form, status int) (answer, error) {
	id, err := q.pathID("door_id")
	if err != nil {
		return nil, err
	}
	data := doorLettersData{Form: f, Preview: q.by.May(identity.ActSetLetters), Office: q.by.May(identity.ActReadOffice)}
	if data.Door, err = c.Fleet.Door(ctx, q.by, id, fleet.AsOf{}); err != nil {
		return nil, err
	}
	if data.Open, err = c.Fleet.Findings(ctx, q.by, fleet.FindingQuery{DoorID: id, State: "open", Origin: "visit", Limit: 100}); err != nil {
		return nil, err
	}
	if err := c.letterChoices(ctx, q, &data); err != nil {
		return nil, err
	}
	list, err := c.Fleet.Reports(ctx, q.by, fleet.ReportQuery{Kind: fleet.KindLetter, DoorID: id, Limit: perPage})
	if err != nil {
		return nil, err
	}
	ids := fleet.Named{Doors: []uuid.UUID{id}, Sites: []uuid.UUID{data.Door.SiteID}}
	for _, r := range list {
		ids.People = append(ids.People, r.MadeBy)
	}
	names, err := c.Fleet.Names(ctx, q.by, ids)
	if err != nil {
		return nil, err
	}
	done := map[uuid.UUID][]fleet.Delivery{}
	if data.Office {
		reports := make([]uuid.UUID, len(list))
		for i, r := range list {
			reports[i] = r.ReportID
		}
		deliveries, err := c.Fleet.Deliveries(ctx, q.by, reports)
		if err != nil {
			return nil, err
		}
		for _, d := range deliveries {
			done[d.ReportID] = append(done[d.ReportID], d)
		}
	}
	for _, r := range list {
		data.Lines = append(data.Lines, issuedLine{reportLineOf(q, r, names), writer{q.texts}.deliverySaid(done[r.ReportID])})
	}
	return page{name: "door-letters", status: status, data: data}, nil
}

// letterChoices are the newest approved text of each kind, and for whoever writes texts, what nobody has approved yet, to be previewed.
func (c *Console) letterChoices(ctx context.Context, q *request, data *doorLettersData) error {
	list, err := c.Fleet.LetterTemplates(ctx, q.by)
	if err != nil {
		return err
	}
	w := writer{q.texts}
	data.Texts = []option{{Text: w.T("console.choose")}}
	approved := map[string]bool{}
	for _, l := range list {
		switch {
		case l.ApprovedAt != nil && !approved[l.Kind]:
			approved[l.Kind], data.Issues = true, true
			data.Texts = append(data.Texts, option{Value: l.TemplateID.String(), Text: w.T("console.letter.version", "kind", w.Enum("letter_kind", l.Kind), "version", l.Version)})
		case l.ApprovedAt == nil && data.Preview && l.TemplateID == uuid.Nil:
			data.Texts = append(data.Texts, option{Value: l.Kind, Text: w.T("console.letter.shipped", "kind", w.Enum("letter_kind", l.Kind))})
		case l.ApprovedAt == nil && data.Preview:
			data.Texts = append(data.Texts, option{Value: l.TemplateID.String(), Text: w.T("console.letter.unapproved", "kind", w.Enum("letter_kind", l.Kind), "version", l.Version)})
		}
	}
	return nil
}

// letterAsk reads which letter somebody wants; the kind of a shipped draft is given where no template was chosen.
func (r *reader) letterAsk(door uuid.UUID) (ask fleet.ReportAsk, shipped string) {
	ask = fleet.ReportAsk{Kind: fleet.KindLetter, DoorID: door, Findings: r.ids("/findings")}
	if chosen := r.chosen("/template_id"); slices.Contains(fleet.LetterKinds(), chosen) {
		shipped = chosen
	} else if chosen != "" {
		ask.TemplateID = r.id("/template_id")
	}
	return ask, shipped
}

// letterIssue issues a letter: it is kept as a report, and is not changed any more.
func (c *Console) letterIssue(ctx context.Context, q *request) (answer, error) {
	door, f, err := q.formOf("door_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	id := r.id("report_id")
	ask, shipped := r.letterAsk(door)
	if shipped != "" {
		r.faults.Add("/template_id", "letter_not_approved")
	}
	if err = r.faults.Err(); err == nil {
		_, _, err = c.Fleet.MakeReport(ctx, q.by, id, ask)
	}
	if err != nil {
		return q.again(f, atLetter(err), func(f form, status int) (answer, error) { return c.doorLettersPage(ctx, q, f, status) })
	}
	return seeOther("/reports/" + id.String()), nil
}

// letterPreview shows a letter as a PDF marked as a draft, and keeps nothing.
func (c *Console) letterPreview(ctx context.Context, q *request) (answer, error) {
	door, f, err := q.formOf("door_id")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	ask, shipped := r.letterAsk(door)
	var pdf []byte
	if err = r.faults.Err(); err == nil {
		pdf, err = c.Fleet.PreviewLetter(ctx, q.by, ask, shipped)
	}
	if err != nil {
		return q.again(f, atLetter(err), func(f form, status int) (answer, error) { return c.doorLettersPage(ctx, q, f, status) })
	}
	p := prints()["report.pdf"]
	q.writer.Header().Set("Content-Security-Policy", p.policy)
	return file{p.mediaType, "draft.pdf", pdf}, nil
}

// atLetter puts faults of a single finding at the list of them, and what is wrong with the text at its choice.
func atLetter(err error) error {
	var list fault.List
	for _, f := range fault.Of(err) {
		moved := *f
		switch {
		case strings.HasPrefix(f.Pointer, "/findings/"):
			moved.Pointer = "/findings"
		case slices.Contains([]string{"letter_not_approved", "letter_template_not_found"}, f.Code):
			moved.Pointer, moved.Kind = "/template_id", fault.Invalid
		}
		list = append(list, &moved)
	}
	if len(list) == 0 {
		return err
	}
	return list
}

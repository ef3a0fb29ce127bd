package fleet

import (
	"cmp"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/words"
)

// mostLines is how many lines a digest for the office has; what is left is in the list of notices. A party's digest has all.
const mostLines = 300

// wording writes a letter's subject and text. Dates are those of each site; how late something is follows from the day
// on which the letter is written, whatever the rung was called.
func (f *Fleet) wording(l *Letter, notices []NoticeDue) {
	p := f.Words.Printer(l.Language, words.Metric)
	args := append(f.sender(), "take_note", f.takeNote(p, l, notices[0]), "ending", p.T("notice.no_decline"))
	if !slices.ContainsFunc(notices, func(n NoticeDue) bool { return !n.advance() }) {
		if l.DeclineLink = f.linkIn("/reminders/", linkDecline, l, declineFor); l.DeclineLink != "" {
			args[len(args)-1] = p.T("notice.decline", "link", l.DeclineLink)
		}
	}
	if l.Kind == "urgent" {
		l.Subject, l.Text = f.urgentWording(p, notices[0], args)
	} else {
		l.Subject, l.Text = f.digestWording(p, notices, args)
		l.Calendar = f.dueDays(p, notices)
	}
	l.Language = p.Language()
	l.HTML = words.MailHTML(l.Language, l.Subject, l.Text)
}

// enclosing writes the subject and text of a mail that a letter about findings is enclosed in. It has no HTML: the letter is
// what is to be read.
func (f *Fleet) enclosing(l *Letter, n NoticeDue, report Report) (err error) {
	p := f.Words.Printer(l.Language, words.Metric)
	l.Subject, l.Text, err = f.letterWording(p, n, report, f.sender())
	l.Language = p.Language()
	return err
}

// sender is who writes.
func (f *Fleet) sender() []any {
	return []any{"person", f.Company.Name, "company", f.Company.Name, "company_contact", f.Company.Phone}
}

func (f *Fleet) urgentWording(p words.Printer, n NoticeDue, args []any) (subject, text string) {
	if w := n.Watch; w != nil {
		zone := zoneOr(n.TimeZone, time.UTC)
		at := func(t time.Time) string { return t.In(zone).Format("2006-01-02 15:04 MST") }
		return p.Mail("alone_late", append(args, "name", n.Alone, "place", w.Place, "back_by", at(w.BackBy), "started_at", at(w.StartedAt), "note", cmp.Or(w.Note, p.T("notice.alone.no_note")),
			"count", max(1, int(w.Late(f.Now())/time.Minute)))...)
	}
	c := n.Case
	secured := p.T("notice.not_secured")
	if c.State == "secured" {
		secured = p.T("report.secured." + c.SecuredHow)
	}
	kind := "unsafe_door"
	if strings.HasPrefix(n.Rung, "unsafe_again") {
		kind = "unsafe_again"
	}
	return p.Mail(kind, append(args, "tag", Tag(n.Tag).String(), "door", n.DoorName, "site", n.SiteName, "inspector", n.Why.Inspector, "count", n.Why.Hours,
		"found_on", duedate.DayIn(c.OpenedAt, zoneOr(n.SiteZone, time.UTC)), "finding", c.What, "secured", secured)...)
}

// dueDays writes the due days that still lie ahead of a party as a calendar. An order has one event: when its day moves, a later letter
// replaces it.
func (f *Fleet) dueDays(p words.Printer, notices []NoticeDue) string {
	var events []CalendarEvent
	for _, n := range notices {
		today := duedate.DayIn(f.Now(), zoneOr(n.SiteZone, time.UTC))
		if n.WorkOrderID == nil || n.TurnOn.IsZero() || ofOffice(n.Role) || n.DueOn.Before(today) || slices.ContainsFunc(events, func(e CalendarEvent) bool { return e.UID == n.WorkOrderID.String() }) {
			continue
		}
		args := []any{"tag", Tag(n.Tag).String(), "door", n.DoorName, "site", n.SiteName, "work", n.work(p), "company", f.Company.Name, "company_contact", f.Company.Phone}
		events = append(events, CalendarEvent{UID: n.WorkOrderID.String(), ChangedAt: f.Now(), Sequence: int(f.Now().Unix() / 60), // minutes: grows from letter to letter
			Summary: p.T("calendar.due", args...), Description: p.T("calendar.due.text", args...), Location: n.SiteName, Day: n.DueOn})
	}
	if f.WriteCalendar == nil || len(events) == 0 {
		return ""
	}
	return string(f.WriteCalendar("", events))
}

// digestLine is one line of a digest.
type digestLine struct {
	text    string
	site    string
	siteID  uuid.UUID
	gravity int // days past due; alarms come first
	overdue bool
	final   bool
	dueOn   duedate.Day
}

func (f *Fleet) digestWording(p words.Printer, notices []NoticeDue, args []any) (subject, text string) {
	office := ofOffice(notices[0].Role)
	seen := map[string]bool{}
	var lines []digestLine
	for _, n := range notices { // two recipients may share an address
		if key := n.Reason + n.Rung; !seen[key] {
			seen[key] = true
			lines = append(lines, f.line(p, n))
		}
	}
	slices.SortStableFunc(lines, func(a, b digestLine) int { return cmp.Compare(b.gravity, a.gravity) })
	overdue := len(slices.DeleteFunc(slices.Clone(lines), func(l digestLine) bool { return !l.overdue }))
	final := len(slices.DeleteFunc(slices.Clone(lines), func(l digestLine) bool { return !l.final }))
	kind, count := "digest_due", len(lines)
	switch {
	case office:
		kind = "digest_office"
	case notices[0].Role == roleHolder:
		kind = "digest_certificates"
	case final > 0:
		kind, count = "digest_final", final
	case overdue > 0:
		kind, count = "digest_overdue", overdue
	}
	first := lines[0].dueOn
	left := 0
	if office && len(lines) > mostLines {
		lines, left = lines[:mostLines], len(lines)-mostLines
	}
	body := bySite(lines)
	if left > 0 {
		body += "\n" + p.T("notice.line.more", "count", left) + "\n"
	}
	return p.Mail(kind, append(args, "count", count, "due_on", first, "lines", strings.TrimRight(body, "\n"))...)
}

// bySite puts lines under their sites, the site with the gravest line first.
func bySite(lines []digestLine) string {
	var sites []uuid.UUID
	of := map[uuid.UUID][]digestLine{}
	for _, l := range lines {
		if of[l.siteID] == nil {
			sites = append(sites, l.siteID)
		}
		of[l.siteID] = append(of[l.siteID], l)
	}
	var out strings.Builder
	for _, s := range sites {
		name := of[s][0].site
		out.WriteString(name + "\n" + strings.Repeat("-", utf8.RuneCountInString(name)) + "\n")
		for _, l := range of[s] {
			out.WriteString("- " + l.text + "\n")
		}
		out.WriteString("\n")
	}
	return out.String()
}

// work is the word for what is to be done.
func (n NoticeDue) work(p words.Printer) string {
	if n.Work == "fire_door" {
		return p.Enum("plan_purpose", n.Work)
	}
	return p.Enum("work_order_kind", "inspection")
}

// gravest is before everything that is only late.
const gravest = 1 << 20

func (f *Fleet) line(p words.Printer, n NoticeDue) digestLine {
	l := digestLine{site: n.SiteName, siteID: n.SiteID, dueOn: n.DueOn, gravity: gravest}
	about := []any{"tag", Tag(n.Tag).String(), "door", n.DoorName, "name", n.Why.Name, "address", n.Why.Address, "answer", n.Why.Answer, "rung", n.Why.Rung,
		"work", n.work(p), "due_on", n.DueOn}
	if c := n.Certificate; c != nil {
		l.site = p.T("notice.certificates")
		about = append(about, "about", p.T("notice.about.certificate", "number", c.Number), "holder", c.Name, "scheme", c.Scheme, "number", c.Number)
	} else {
		about = append(about, "about", p.T("notice.about.door", "tag", Tag(n.Tag).String()))
	}
	if strings.HasPrefix(n.Reason, "webhook:") {
		l.site = p.T("notice.webhooks")
	}
	if n.TurnOn.IsZero() {
		l.text = p.T("notice.alarm."+n.Rung, about...)
		return l
	}
	today := duedate.DayIn(f.Now(), zoneOr(n.SiteZone, zoneOr(n.TimeZone, time.UTC)))
	days := n.DueOn.DaysUntil(today)
	l.gravity, l.overdue = days, days > 0
	when := "due"
	switch {
	case n.Why.Final:
		when, l.final = "final", true
	case days > 0:
		when = "overdue"
	case days == 0:
		when = "today"
	}
	about = append(about, "count", max(days, -days))
	if n.Certificate != nil {
		l.text = p.T("notice.certificate."+when, about...)
	} else {
		l.text = p.T("notice.line."+when, about...)
	}
	return l
}

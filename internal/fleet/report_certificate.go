package fleet

import (
	"errors"
	"slices"

	"lintel.example/lintel/internal/fault"
)

// CertificateFormat names the shape of the document of one passed inspection.
const CertificateFormat = "lintel-inspection-certificate/1"

// CertificateDocument says that somebody with a certificate of theirs, valid on the day, inspected a door and signed that
// it passed. The program certifies nothing: the inspector does, for that day.
type CertificateDocument struct {
	ReportHead
	ReportPlace
	Door       ReportDoor       `json:"door"`
	RuleBasis  *ReportRuleBasis `json:"rule_basis"`
	Inspection ReportInspection `json:"inspection"`
	Verdicts   []ReportVerdict  `json:"verdicts"`
	// JudgedToday are the rules of which what is known today says otherwise; absent when there is none.
	JudgedToday []ReportJudgedToday `json:"judged_today,omitempty"`
	Beside      []ReportBeside      `json:"beside,omitempty"`
	Unjudged    []ReportReading     `json:"unjudged"`
	AsFound     []ReportReading     `json:"as_found,omitempty"`
	LeftOut     []ReportLeftOut     `json:"left_out,omitempty"`
	// Mended are the findings that ended on the day of the inspection.
	Mended []ReportFinding `json:"mended,omitempty"`
	// Findings are those that are open on the report's day; none is unsafe.
	Findings []ReportFinding `json:"findings"`
	Due      []ReportDue     `json:"due"`
	Cautions []string        `json:"cautions"`
}

// certificate is refused unless the last signed inspection passed, its inspector held a certificate that was valid on the
// day, and nothing unsafe stands open since, nor anything with which the door was safe until a day that has passed.
func (r ComplianceReport) certificate() (CertificateDocument, error) {
	last := r.LastInspection
	switch {
	case len(r.OutOfService) > 0 || r.hasFinding("unsafe") || r.inDanger():
		return CertificateDocument{}, fault.New(fault.Conflict, "certificate_of_unsafe_door")
	case last == nil || last.Result != "passed" || last.SignedAt == "":
		return CertificateDocument{}, fault.New(fault.Conflict, "certificate_without_passed_inspection")
	case last.Inspector.CertificateNo == "" || last.Inspector.Withdrawn:
		return CertificateDocument{}, fault.New(fault.Conflict, "certificate_by_uncertified", "name", last.Inspector.Name, "day", last.Date)
	}
	head := r.ReportHead
	head.Format = CertificateFormat
	return CertificateDocument{ReportHead: head, ReportPlace: r.ReportPlace, Door: r.Door, RuleBasis: r.RuleBasis, Inspection: *last, Verdicts: r.Verdicts, JudgedToday: r.JudgedToday,
		Beside: r.Beside, Unjudged: r.Unjudged, AsFound: r.AsFound, LeftOut: r.LeftOut, Findings: r.Findings, Due: r.Due, Cautions: r.DoorContent.Cautions,
		Mended: slices.DeleteFunc(slices.Clone(r.Closed), func(f ReportFinding) bool { return f.ClosedOn != last.Date })}, nil
}

// Check reports every fault that would make the document unfit to be sealed.
func (c CertificateDocument) Check() error {
	err := c.ReportHead.check(CertificateFormat)
	if c.Inspection.Result != "passed" || c.Inspection.Inspector.CertificateNo == "" {
		err = errors.Join(err, documentFault("inspection", "is no passed inspection of somebody with a certificate"))
	}
	return err
}

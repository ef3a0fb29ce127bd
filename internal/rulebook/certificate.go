package rulebook

import (
	"errors"
	"fmt"
	"slices"
)

// GeneralCertificate is the kind of certificate that names no kind of inspection.
const GeneralCertificate = "general"

// CertificateKinds are the kinds of certificate that inspectors hold: which doors, or which law, their schemes examine people in. Common
// practice, no source: schemes have names of their own, which stand beside the kind. A pack names the kinds that sign by it;
// only a door's basis and packs of the company are asked.
func CertificateKinds() []string {
	return []string{GeneralCertificate, "full_energy", "low_energy", "revolving", "european", "fire"}
}

// Certificates are the kinds of certificate of which one signs by the pack; also by a pack without any rule.
func (p *Pack) Certificates() []string {
	if p.SignedBy == nil {
		return []string{GeneralCertificate}
	}
	return p.SignedBy
}

func checkSignedBy(kinds []string) error {
	if len(kinds) == 0 {
		return inside("signed_by", errors.New("nobody could sign by this pack"))
	}
	var problems []error
	for i, kind := range kinds {
		switch {
		case !slices.Contains(CertificateKinds(), kind):
			problems = append(problems, inside("signed_by", fmt.Errorf("unknown kind of certificate %q", kind), "signed_by", i))
		case slices.Contains(kinds[:i], kind):
			problems = append(problems, inside("signed_by", fmt.Errorf("kind of certificate %q twice", kind), "signed_by", i))
		}
	}
	return errors.Join(problems...)
}

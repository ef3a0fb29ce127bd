package rulebook

import (
	"slices"
	"testing"
)

// Certificates were recorded without a kind before there were any: they are general ones, and count as they did.
func TestAGeneralCertificateSignsByEveryShippedPack(t *testing.T) {
	book, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	narrow := map[string]bool{"fire": true} // law asks for no certificate of its own; packs of a company may
	for _, p := range book.Packs() {
		if !slices.Contains(p.Certificates(), GeneralCertificate) {
			t.Errorf("%s is signed by %v", p.ID, p.Certificates())
		}
		for _, kind := range p.Certificates() {
			narrow[kind] = true
		}
	}
	for _, kind := range CertificateKinds() {
		if !narrow[kind] {
			t.Errorf("a certificate of the kind %s signs by no pack", kind)
		}
	}
	if got := (&Pack{}).Certificates(); !slices.Equal(got, []string{GeneralCertificate}) {
		t.Errorf("a pack that names no kind is signed by %v", got)
	}
}

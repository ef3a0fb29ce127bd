package rulebook

import (
	"cmp"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"strings"
)

//go:embed packs/*.yaml
var embedded embed.FS

// Book is a set of rule packs. It is read-only once loaded and may be used by many goroutines.
type Book struct {
	packs []*Pack // sorted by id
}

// Embedded loads the packs that come with the program.
func Embedded() (*Book, error) {
	packs, err := fs.Sub(embedded, "packs")
	if err != nil {
		return nil, err
	}
	return Load(packs)
}

// Load reads every *.yaml at the top of the file system as one pack each. The error names file, rule and member of everything that is wrong.
func Load(files fs.FS) (*Book, error) {
	names, err := fs.Glob(files, "*.yaml")
	if err != nil {
		return nil, err
	}
	if len(names) == 0 {
		return nil, errors.New("no rule packs (*.yaml)")
	}
	l, err := newLanguage()
	if err != nil {
		return nil, err
	}
	var b Book
	var problems []error
	for _, name := range names {
		text, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, err
		}
		p, err := parsePack(l, text)
		switch {
		case err != nil:
			problems = append(problems, fmt.Errorf("%s: %w", name, err))
		case name != p.ID+".yaml": // also keeps ids unique
			problems = append(problems, fmt.Errorf("%s: id %q: the file's name must be the id", name, p.ID))
		default:
			if err := p.checkBeside(b.packs); err != nil {
				problems = append(problems, fmt.Errorf("%s: %w", name, err))
			}
			b.packs = append(b.packs, p)
		}
	}
	slices.SortFunc(b.packs, func(p, q *Pack) int { return cmp.Compare(p.ID, q.ID) })
	return &b, errors.Join(problems...)
}

// Packs gives all packs, sorted by id.
func (b *Book) Packs() []*Pack { return slices.Clone(b.packs) }

// Pack gives the pack of that id, or the one that had it formerly.
func (b *Book) Pack(id string) (*Pack, bool) {
	for _, p := range b.packs {
		if p.ID == id || slices.Contains(p.Formerly, id) {
			return p, true
		}
	}
	return nil, false
}

// IsFor tells whether the pack judges doors of that kind and energy.
func (p *Pack) IsFor(kind DoorKind, energy Energy) bool {
	return slices.Contains(p.AppliesTo.Kinds, kind) && slices.Contains(p.AppliesTo.Energies, energy)
}

// PackFor gives the newest edition that is for such doors. It is a proposal for a door whose rule basis nobody has recorded:
// a door is judged by the edition of its rule basis, not by the newest.
func (b *Book) PackFor(kind DoorKind, energy Energy) (*Pack, bool) {
	var newest *Pack
	for _, p := range b.packs {
		if p.Role == Basis && p.IsFor(kind, energy) && (newest == nil || p.Edition > newest.Edition) {
			newest = p
		}
	}
	return newest, newest != nil
}

// LawsAt gives the law packs that hold in a jurisdiction (ISO 3166-2, or the country alone) for such doors, each in the newest edition
// that was there in the year, by name. When a place adopted an edition is not known here: the edition's own year stands for it.
func (b *Book) LawsAt(jurisdiction string, year int, kind DoorKind, energy Energy) (laws []*Pack) {
	for _, p := range b.packs { // sorted: the editions of a name follow one another
		if p.Role != Law || !p.HoldsAt(jurisdiction) || !p.IsFor(kind, energy) || p.Edition > strconv.Itoa(year) {
			continue
		}
		if n := len(laws); n > 0 && laws[n-1].Name() == p.Name() {
			laws[n-1] = p
		} else {
			laws = append(laws, p)
		}
	}
	return laws
}

// HoldsAt tells whether the jurisdiction is the pack's or a part of it, or the pack holds everywhere.
func (p *Pack) HoldsAt(jurisdiction string) bool {
	return p.Jurisdiction == "any" || jurisdiction == p.Jurisdiction || strings.HasPrefix(jurisdiction, p.Jurisdiction+"-")
}

package words

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
	"golang.org/x/text/language"
)

//go:embed */*.yaml
var files embed.FS

// fallback is the language in which every text exists.
const fallback = "en"

// Catalogue is all texts of all languages. It does not change after Load and is safe for concurrent use.
type Catalogue struct {
	matcher   language.Matcher
	languages []texts // in the matcher's order, the fallback first
}

// texts of one language.
type texts map[string]text

// Load reads the message files that are built in. The error names every fault in them: keys that stand twice, places
// that are no places, keys or places of a translation that English does not have.
func Load() (*Catalogue, error) { return load(files) }

func load(fsys fs.FS) (*Catalogue, error) {
	folders, err := fs.ReadDir(fsys, ".")
	if err != nil {
		return nil, err
	}
	var faults []error
	byTag := map[language.Tag]texts{}
	for _, folder := range folders {
		tag, err := language.Parse(folder.Name())
		if err != nil {
			faults = append(faults, fmt.Errorf("words: folder %s is no language: %w", folder.Name(), err))
			continue
		}
		found, err := loadLanguage(fsys, folder.Name())
		faults = append(faults, err)
		byTag[tag] = found
	}
	english := byTag[language.MustParse(fallback)]
	if english == nil {
		return nil, errors.Join(append(faults, fmt.Errorf("words: no folder %s", fallback))...)
	}
	tags := slices.SortedFunc(maps.Keys(byTag), func(a, b language.Tag) int {
		if (a.String() == fallback) != (b.String() == fallback) {
			return map[bool]int{true: -1, false: 1}[a.String() == fallback]
		}
		return strings.Compare(a.String(), b.String())
	})
	c := &Catalogue{matcher: language.NewMatcher(tags)}
	for _, tag := range tags {
		faults = append(faults, byTag[tag].strangers(tag, english)...)
		c.languages = append(c.languages, byTag[tag])
	}
	if err := errors.Join(faults...); err != nil {
		return nil, err
	}
	return c, nil
}

func loadLanguage(fsys fs.FS, folder string) (texts, error) {
	names, err := fs.Glob(fsys, folder+"/*.yaml")
	if err != nil {
		return nil, err
	}
	var faults []error
	found, from := texts{}, map[string]string{}
	for _, name := range names {
		file, err := fs.ReadFile(fsys, name)
		if err != nil {
			return nil, err
		}
		entries, err := parseFile(file)
		if err != nil {
			faults = append(faults, fmt.Errorf("words: %s: %w", name, err))
		}
		for _, e := range entries {
			if other, twice := from[e.key]; twice {
				faults = append(faults, fmt.Errorf("words: %s, line %d: %s stands in %s already", name, e.line, e.key, path.Base(other)))
				continue
			}
			from[e.key], found[e.key] = name, e.text
		}
	}
	return found, errors.Join(faults...)
}

// strangers names what a translation says that the English texts do not know.
func (t texts) strangers(tag language.Tag, english texts) (faults []error) {
	for _, key := range slices.Sorted(maps.Keys(t)) {
		model, known := english[key]
		if !known {
			faults = append(faults, fmt.Errorf("words: %s: no English text has the key %s", tag, key))
			continue
		}
		for _, place := range t[key].places() {
			if !slices.Contains(model.places(), place) && place != countPlace {
				faults = append(faults, fmt.Errorf("words: %s: %s has a place {%s} that the English text does not have", tag, key, place))
			}
		}
	}
	return faults
}

// Has tells whether there is a text for the key.
func (c *Catalogue) Has(key string) bool {
	_, ok := c.languages[0][key]
	return ok
}

// Keys lists all keys, sorted.
func (c *Catalogue) Keys() []string { return slices.Sorted(maps.Keys(c.languages[0])) }

// Places lists the names of the places in a text, sorted; for a text with plural forms, those of all forms.
func (c *Catalogue) Places(key string) []string { return c.languages[0][key].places() }

// entry is one line of a message file.
type entry struct {
	key  string
	text text
	line int
}

// parseFile reads one message file: one flat map of keys to texts or to plural forms.
func parseFile(file []byte) ([]entry, error) {
	decoder := yaml.NewDecoder(strings.NewReader(string(file)))
	var document yaml.Node
	if err := decoder.Decode(&document); err != nil {
		return nil, err
	}
	if err := decoder.Decode(new(yaml.Node)); err == nil {
		return nil, errors.New("more than one document")
	}
	root := document.Content[0]
	if root.Kind != yaml.MappingNode {
		return nil, errors.New("not a map of keys to texts")
	}
	var entries []entry
	var faults []error
	seen := map[string]int{}
	for i := 0; i < len(root.Content); i += 2 {
		key, value := root.Content[i], root.Content[i+1]
		if first, twice := seen[key.Value]; twice {
			faults = append(faults, fmt.Errorf("line %d: %s stands in line %d already", key.Line, key.Value, first))
			continue
		}
		seen[key.Value] = key.Line
		t, err := parseText(value)
		switch {
		case key.Kind != yaml.ScalarNode || !validKey(key.Value):
			faults = append(faults, fmt.Errorf("line %d: %q is no key: letters, digits, _ and - with dots between", key.Line, key.Value))
		case err != nil:
			faults = append(faults, fmt.Errorf("line %d: %s: %w", value.Line, key.Value, err))
		default:
			entries = append(entries, entry{key.Value, t, key.Line})
		}
	}
	return entries, errors.Join(faults...)
}

func validKey(key string) bool {
	for part := range strings.SplitSeq(key, ".") {
		if part == "" || strings.ContainsFunc(part, func(r rune) bool {
			return (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') && (r < '0' || r > '9') && r != '_' && r != '-'
		}) {
			return false
		}
	}
	return true
}

func parseText(node *yaml.Node) (text, error) {
	switch node.Kind {
	case yaml.ScalarNode:
		one, err := parsePattern(node)
		return text{formOther: one}, err
	case yaml.MappingNode:
		t := text{}
		for i := 0; i < len(node.Content); i += 2 {
			name, value := node.Content[i].Value, node.Content[i+1]
			form, known := formNamed(name)
			if !known {
				return nil, fmt.Errorf("%q is no plural form", name)
			}
			if _, twice := t[form]; twice {
				return nil, fmt.Errorf("the plural form %s stands twice", name)
			}
			pattern, err := parsePattern(value)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", name, err)
			}
			t[form] = pattern
		}
		if t[formOther] == nil {
			return nil, errors.New("the plural form other is missing")
		}
		return t, nil
	}
	return nil, errors.New("neither a text nor a map of plural forms")
}

// parsePattern cuts a text at its places.
func parsePattern(node *yaml.Node) (pattern, error) {
	if node.Kind != yaml.ScalarNode || node.Tag != "!!str" {
		return nil, fmt.Errorf("%q is not a text: put it in quotes", node.Value)
	}
	if strings.TrimSpace(node.Value) == "" {
		return nil, errors.New("the text is empty")
	}
	var p pattern
	rest := node.Value
	for {
		at := strings.IndexAny(rest, "{}")
		if at < 0 {
			return append(p, segment{literal: rest}), nil
		}
		name, after, closed := strings.Cut(rest[at+1:], "}")
		if rest[at] == '}' || !closed || !validPlace(name) {
			return nil, fmt.Errorf("a brace that makes no place at %.20q: write {name}, small letters, digits and _", rest[at:])
		}
		p = append(p, segment{literal: rest[:at]}, segment{place: name})
		rest = after
	}
}

func validPlace(name string) bool {
	for i, r := range name {
		if (r < 'a' || r > 'z') && (i == 0 || (r < '0' || r > '9') && r != '_') {
			return false
		}
	}
	return name != ""
}

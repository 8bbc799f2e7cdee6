package dialect

import (
	"cmp"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp/syntax"
	"slices"
	"strings"
)

//go:embed files/*.toml
var embedded embed.FS

// Load reads the dialects that come with the program and those in the user's
// folder dir ("" for none). A user's dialect replaces one of the same name.
func Load(dir string) ([]*Dialect, error) {
	own := map[string]bool{}
	var all []*Dialect
	var errs []error
	read := func(fsys fs.FS, prefix string, mine bool) {
		names, err := fs.Glob(fsys, "*.toml")
		if err != nil {
			errs = append(errs, err)
		}
		for _, name := range names {
			text, err := fs.ReadFile(fsys, name)
			if err != nil {
				errs = append(errs, err)
				continue
			}
			d, err := Parse(prefix+name, text)
			switch {
			case err != nil:
				errs = append(errs, err)
			case mine && own[d.Name]:
				errs = append(errs, fmt.Errorf("%s: name %q is taken by another file of the folder", d.File, d.Name))
			case mine || !own[d.Name]:
				d.own = mine
				own[d.Name] = own[d.Name] || mine
				all = append(all, d)
			}
		}
	}
	if dir != "" {
		if _, err := os.ReadDir(dir); err != nil {
			return nil, fmt.Errorf("folder of dialects: %w", err)
		}
		read(os.DirFS(dir), filepath.Clean(dir)+string(filepath.Separator), true)
	}
	files, err := fs.Sub(embedded, "files")
	if err != nil {
		return nil, err
	}
	read(files, "built-in dialect ", false)
	return all, errors.Join(errs...)
}

// ByName finds a dialect for a kind of instrument.
func ByName(all []*Dialect, kind Kind, name string) (*Dialect, error) {
	var names []string
	for _, d := range all {
		if d.Kind != kind {
			continue
		}
		if d.Name == name {
			return d, nil
		}
		names = append(names, d.Name)
	}
	slices.Sort(names)
	return nil, fmt.Errorf("there is no %s dialect %q; there are: %s", kind, name, strings.Join(names, ", "))
}

// Choose finds the dialect that fits an instrument's *IDN? reply: the most
// specific one of the user's own, else the most specific, and one that fits any
// instrument only when no other does, of another kind neither: that is a
// *WrongKindError.
func Choose(all []*Dialect, kind Kind, identity string) (*Dialect, error) {
	if err := CheckKind(all, kind, identity); err != nil {
		return nil, err
	}
	var fit []*Dialect
	for _, d := range all {
		if d.Kind == kind && d.Matches(identity) {
			fit = append(fit, d)
		}
	}
	if len(fit) == 0 {
		return nil, fmt.Errorf("no %s dialect fits the instrument %q; write one, or name the nearest with dialect = \"…\"", kind, identity)
	}
	rank := func(a, b *Dialect) int {
		return cmp.Or(
			compareBool(b.specificity() > 0, a.specificity() > 0),
			compareBool(b.own, a.own),
			cmp.Compare(b.specificity(), a.specificity()))
	}
	slices.SortStableFunc(fit, rank)
	if len(fit) > 1 && rank(fit[0], fit[1]) == 0 {
		return nil, fmt.Errorf("dialects %s and %s fit the instrument %q equally; name one with dialect = \"…\"", fit[0].Name, fit[1].Name, identity)
	}
	return fit[0], nil
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

// specificity is how many characters the identity expression spells out.
func (d *Dialect) specificity() int {
	e, err := syntax.Parse(d.identity.String(), syntax.Perl)
	if err != nil {
		return 0 // Parse has compiled it already
	}
	return literals(e)
}

func literals(e *syntax.Regexp) int {
	switch e.Op {
	case syntax.OpLiteral:
		return len(e.Rune)
	case syntax.OpAlternate:
		least := literals(e.Sub[0])
		for _, s := range e.Sub[1:] {
			least = min(least, literals(s))
		}
		return least
	case syntax.OpStar, syntax.OpQuest:
		return 0
	}
	n := 0
	for _, s := range e.Sub {
		n += literals(s)
	}
	return n
}

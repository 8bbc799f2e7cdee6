package dialect

import "fmt"

// kinds are the kinds of instrument in the order in which a bench file has them.
var kinds = []Kind{Supply, Scope, Thermometer, Switch}

// WrongKindError says that an instrument is of another kind than is wanted.
type WrongKindError struct {
	Want, Is Kind
	// Identity is its *IDN? reply.
	Identity string
}

// Error says what it is.
func (e *WrongKindError) Error() string {
	return fmt.Sprintf("this is a %s (%s), not a %s", e.Is, e.Identity, e.Want)
}

// CheckKind is a *WrongKindError if the dialects know the instrument with this
// *IDN? reply, and only as one of another kind. To such an instrument the next
// command might mean anything.
func CheckKind(all []*Dialect, kind Kind, identity string) error {
	if knows(all, kind, identity) {
		return nil
	}
	if is, _ := KindOf(all, identity); is != "" {
		return &WrongKindError{Want: kind, Is: is, Identity: identity}
	}
	return nil
}

// KindOf tells by the dialects what kind of instrument has this *IDN? reply, and
// the dialect's name; both are empty if none but those for any instrument fit.
func KindOf(all []*Dialect, identity string) (Kind, string) {
	for _, kind := range kinds {
		if !knows(all, kind, identity) {
			continue
		}
		if d, err := Choose(all, kind, identity); err == nil {
			return kind, d.Name
		}
	}
	return "", ""
}

// nobody is an identity that only a dialect for any instrument takes for its
// own.
const nobody = "\x00"

// knows says whether a dialect for this kind, other than one for any
// instrument, fits.
func knows(all []*Dialect, kind Kind, identity string) bool {
	for _, d := range all {
		if d.Kind == kind && d.Matches(identity) && !d.Matches(nobody) {
			return true
		}
	}
	return false
}

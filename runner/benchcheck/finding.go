// Package benchcheck proves a bench before a night is trusted to it: which instrument stands at which address, whether
// limits hold and probes show what they should, first with nothing energised and then, without a unit, energised.
//
// Nothing of it belongs to a run: it writes no logbook, and it speaks to instruments through drivers as a run does.
package benchcheck

import (
	"fmt"
	"strings"
)

// Result says how one check came out.
type Result string

// The results.
const (
	Pass  Result = "pass"
	Note  Result = "note"  // worth knowing; nothing has to be done
	Wrong Result = "wrong" // somebody has to do something
)

// Finding is the outcome of one check.
type Finding struct {
	Of     string `json:"of"` // what was checked
	Result Result `json:"result"`
	Found  string `json:"found"`
	// Where is the place in the bench file that the finding is about, "file:line:column"; empty for none.
	Where string `json:"where,omitempty"`
	// Do is what to do about it.
	Do string `json:"do,omitempty"`
}

// String is the finding on one line.
func (f Finding) String() string {
	var b strings.Builder
	result := string(f.Result)
	if f.Result == Wrong {
		result = "WRONG"
	}
	fmt.Fprintf(&b, "%-5s  %-22s  ", result, f.Of)
	if f.Where != "" {
		b.WriteString(f.Where + ": ")
	}
	b.WriteString(f.Found)
	if f.Do != "" {
		b.WriteString("; " + f.Do)
	}
	return b.String()
}

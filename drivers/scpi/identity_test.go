package scpi

import (
	"errors"
	"strings"
	"testing"
)

// Four fields are what IEEE 488.2 section 10.14 asks for.
func TestParseIdentity(t *testing.T) {
	for _, c := range []struct {
		in   string
		want Identity
		warn bool
	}{
		{"ACME,PSU-3,0,1.02", Identity{"ACME", "PSU-3", "0", "1.02"}, false},
		{" ACME , PSU-3 , 17 , 1.02 ", Identity{"ACME", "PSU-3", "17", "1.02"}, false},
		{"ACME,PSU-3,17,1.02,option 4", Identity{"ACME", "PSU-3", "17", "1.02,option 4"}, true},
		{"ACME,PSU-3,,", Identity{"ACME", "PSU-3", "", ""}, false},
	} {
		got, warning, err := ParseIdentity(c.in)
		if err != nil || got != c.want || (warning != "") != c.warn {
			t.Errorf("ParseIdentity(%q) = %+v, %q, %v", c.in, got, warning, err)
		}
	}
	for _, in := range []string{"", "ACME", "ACME,PSU-3", "ACME,PSU-3,17", ",,,"} {
		if got, _, err := ParseIdentity(in); !errors.Is(err, ErrGarbled) {
			t.Errorf("ParseIdentity(%q) = %+v, %v, want ErrGarbled", in, got, err)
		}
	}
}

func FuzzParseIdentity(f *testing.F) {
	for _, seed := range []string{"ACME,PSU-3,0,1.02", "a,b,c,d,e", ",,,"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, s string) {
		id, _, err := ParseIdentity(s)
		if err != nil {
			return
		}
		if again, _, err := ParseIdentity(id.String()); err != nil || again != id {
			t.Fatalf("%q -> %+v -> %+v, %v", s, id, again, err)
		}
		if strings.Count(s, ",") < 3 {
			t.Fatalf("%q: accepted with fewer than four fields", s)
		}
	})
}

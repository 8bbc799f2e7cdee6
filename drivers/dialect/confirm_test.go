package dialect

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"ringup/drivers/scpi"
)

var sweepSent = []Setting{
	{"detector", Settings{"peak": 1}}, // reads back nothing
	{"sweep", Settings{"start_seconds": -2e-3, "window_seconds": 0.1, "points": 4096}},
}

func TestConfirm(t *testing.T) {
	d := embeddedDialect(t, Scope, "simulated-scope")
	for reply, want := range map[string]string{
		"+1.000000E-01;4096;-2.000000E-03": "",
		"+5.000000E-01;4096;-2.000000E-03": "window_seconds was set to 0.1 and reads back as 0.5",
		"+1.000000E-01;4096;+2.000000E-03": "start_seconds was set to -0.002 and reads back as 0.002",
		"+1.000000E-01;4096":               "2 answers came to 3 questions",
		"+1.000000E-01;40-6;-2.000000E-03": "no number",
		"":                                 "1 answers came to 3 questions",
	} {
		s := &script{same: &reply}
		err := d.Confirm(t.Context(), s, sweepSent)
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", reply, err, want)
		}
		if torn := errors.Is(err, scpi.ErrGarbled); torn != (s.torn != nil) {
			t.Errorf("%q: %v, and torn for %v", reply, err, s.torn)
		}
		if all := []string{"SENSe:SWEep:TIME?;:SENSe:SWEep:POINts?;:SENSe:SWEep:OFFSet:TIME?"}; !slices.Equal(s.sent, all) {
			t.Errorf("asked %q, want %q", s.sent, all)
		}
	}
}

// TestConfirmInParts: a dialect that does not join, and one with short messages.
func TestConfirmInParts(t *testing.T) {
	for _, c := range []struct {
		join    string
		longest int
		want    int
	}{{"", 1000, 3}, {";:", 45, 2}, {";:", 5, 3}} {
		d := *embeddedDialect(t, Scope, "simulated-scope")
		d.join, d.longest = c.join, c.longest
		s := &script{replies: map[string]string{}}
		answer := map[string]string{"SENSe:SWEep:TIME?": "0.1", "SENSe:SWEep:POINts?": "4096", "SENSe:SWEep:OFFSet:TIME?": "-2E-3"}
		for query, reply := range answer {
			s.replies[query] = reply
		}
		if c.want == 2 {
			s.replies["SENSe:SWEep:POINts?"] = "0.1;4096"
		}
		if err := d.Confirm(t.Context(), s, sweepSent); err != nil || len(s.sent) != c.want {
			t.Errorf("joined by %q, at most %d bytes: %v, in %d messages %q; want %d", c.join, c.longest, err, len(s.sent), s.sent, c.want)
		}
	}
}

// TestConfirmAttenuation: the scopes that do not give the probe's attenuation
// back with a record are asked for that of each channel, in one message where
// they join, and a digit that changed on its way is found.
func TestConfirmAttenuation(t *testing.T) {
	sent := []Setting{
		{"channel", Settings{"channel": 1, "attenuation": 10}},
		{"channel", Settings{"channel": 2, "attenuation": 1}},
	}
	for name, c := range map[string]struct {
		asked, right, wrong []string
		want                string
	}{
		"keysight-infiniivision": {
			[]string{"CHANnel1:PROBe?;:CHANnel2:PROBe?"}, []string{"+1.000E+01;+1.000E+00"}, []string{"+1.000E+01;+9.000E+00"},
			"attenuation was set to 1 and reads back as 9",
		},
		"rigol-ds1000z": {
			[]string{":CHANnel1:PROBe?", ":CHANnel2:PROBe?"}, []string{"1.000000e+01", "1.000000e+00"}, []string{"1.000000e+01", "5.000000e+00"},
			"attenuation was set to 1 and reads back as 5",
		},
		"siglent-sds1000": {
			[]string{"C1:ATTN?", "C2:ATTN?"}, []string{"10", "1"}, []string{"10", "5"},
			"attenuation was set to 1 and reads back as 5",
		},
		"tektronix-mso": {
			[]string{"CH1:PRObe:GAIN?;:CH2:PRObe:GAIN?"}, []string{"100.0000E-3;1.0000"}, []string{"100.0000E-3;100.0000E-3"},
			"1 / attenuation was set to 1 and reads back as 0.1",
		},
	} {
		d := embeddedDialect(t, Scope, name)
		for want, answers := range map[string][]string{"": c.right, c.want: c.wrong} {
			s := &script{replies: map[string]string{}}
			for i, query := range c.asked {
				query = query[strings.LastIndex(query, ";")+1:]
				s.replies[strings.TrimPrefix(query, ":")] = answers[i]
			}
			err := d.Confirm(t.Context(), s, sent)
			if (err == nil) != (want == "") || err != nil && !strings.HasPrefix(err.Error(), want) {
				t.Errorf("%s: to %q: %v, want %q", name, answers, err, want)
			}
			if !slices.Equal(s.sent, c.asked) || s.torn != nil {
				t.Errorf("%s: asked %q, want %q; torn for %v", name, s.sent, c.asked, s.torn)
			}
		}
	}
}

// FuzzConfirm: whatever comes back, a setting is confirmed only by its own
// value.
func FuzzConfirm(f *testing.F) {
	f.Add("+1.000000E-01;4096;-2.000000E-03")
	f.Add("0.1;#H1000;-2e-3")
	f.Add(";;")
	all, err := Load("")
	if err != nil {
		f.Fatal(err)
	}
	d, err := ByName(all, Scope, "simulated-scope")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, reply string) {
		err := d.Confirm(t.Context(), &script{same: &reply}, sweepSent)
		fields := strings.Split(reply, ";")
		right := len(fields) == 3
		for i, want := range []struct{ value, within float64 }{{0.1, 1.1e-5}, {4096, 0}, {-2e-3, 2.1e-7}} {
			if !right {
				break
			}
			v, numberErr := scpi.ParseNumber(fields[i])
			right = numberErr == nil && v >= want.value-want.within && v <= want.value+want.within
		}
		if err == nil && !right {
			t.Errorf("%q confirms the sweep", reply)
		}
	})
}

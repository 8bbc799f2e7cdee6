package recording

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"ringup/runner/verdict"
)

// Supply is what a file's "# supply:" line says of the supply.
type Supply struct {
	SetVolts, Volts, Amps float64 // NaN: not said
}

// Expect puts what the file says of itself into x, and returns the supply's
// read-back and the names of what it said:
//
//	# supply: set_volts=3.6 volts=3.6 amps=0.0041
//	# limits: rail_fraction clock_hertz frequency_within amplitude_min_v start_within_seconds
//	          watch_seconds use_alias=yes lamp_hertz off_amps=0..0.0004 hung_amps running_amps
func (f *File) Expect(x *verdict.Expect) (Supply, []string, error) {
	s := Supply{math.NaN(), math.NaN(), math.NaN()}
	var said []string
	numbers := map[string]*float64{
		"supply set_volts": &s.SetVolts, "supply volts": &s.Volts, "supply amps": &s.Amps,
		"limits rail_fraction": &x.RailFraction, "limits clock_hertz": &x.ClockHertz, "limits frequency_within": &x.FrequencyWithin,
		"limits amplitude_min_v": &x.AmplitudeMinVolts, "limits start_within_seconds": &x.StartWithinSeconds,
		"limits watch_seconds": &x.WatchSeconds, "limits lamp_hertz": &x.LampHertz,
	}
	bands := map[string]*verdict.Band{
		"limits off_amps": &x.Current.Off, "limits hung_amps": &x.Current.Hung, "limits running_amps": &x.Current.Running,
	}
	for _, n := range f.Notes {
		if !n.remark || n.Key != "supply" && n.Key != "limits" {
			continue
		}
		for word := range strings.FieldsSeq(n.Value) {
			key, value, _ := strings.Cut(word, "=")
			err := setting(n.Key+" "+key, value, numbers, bands, x)
			if err != nil {
				return s, said, &Error{f.Name, n.Line, n.Column, fmt.Sprintf("%q (%v)", word, err), "SI numbers like set_volts=3.6 under supply, clock_hertz=7372800 start_within_seconds=0.065 under limits"}
			}
			said = append(said, key)
		}
	}
	if !math.IsNaN(s.SetVolts) {
		x.SetVolts = s.SetVolts
	}
	return s, said, nil
}

func setting(key, value string, numbers map[string]*float64, bands map[string]*verdict.Band, x *verdict.Expect) error {
	number := func(s string) (float64, error) {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil || !(v >= 0) || math.IsInf(v, 0) {
			return 0, errors.New("no number of 0 or more")
		}
		return v, nil
	}
	if into := numbers[key]; into != nil {
		v, err := number(value)
		if err == nil {
			*into = v
		}
		return err
	}
	if into := bands[key]; into != nil {
		low, high, _ := strings.Cut(value, "..")
		a, err := number(low)
		b, err2 := number(high)
		if err := errors.Join(err, err2); err != nil || b < a {
			return errors.New("no band like 0.003..0.02")
		}
		*into = verdict.Band{LowAmps: a, HighAmps: b}
		return nil
	}
	if key == "limits use_alias" && (value == "yes" || value == "no") {
		x.UseAlias = value == "yes"
		return nil
	}
	return errors.New("not known")
}

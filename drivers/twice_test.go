package drivers_test

import (
	"errors"
	"math"
	"testing"

	"ringup/drivers"
	"ringup/drivers/dialect"
	"ringup/drivers/internal/fake"
	"ringup/drivers/scpi"
)

// inTurn answers one after the other, and the last for ever.
func inTurn(answers ...string) func(string) string {
	return func(string) string {
		answer := answers[0]
		if len(answers) > 1 {
			answers = answers[1:]
		}
		return answer
	}
}

// TestOneWrongReading: among the readings of one quantity one is wrong by a
// digit, which nothing else shows.
func TestOneWrongReading(t *testing.T) {
	supply, _ := fake.NewSupply("SUP-1")
	wire := fake.Serve(t, supply, "tcp")
	p, err := drivers.OpenSupply(t.Context(), drivers.Options{Address: wire.Address, DialectDir: quickDialects(t)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	for _, c := range []struct {
		answers []string
		want    float64
		asked   int
	}{
		{[]string{"+3.600000E+00"}, 3.6, 2},
		{[]string{"+7.600000E+00", "+3.600000E+00"}, 3.6, 3},
		{[]string{"+3.600000E+00", "+7.600000E+00", "+3.600000E+00"}, 3.6, 3},
		{[]string{"+3.601000E+00", "+3.600000E+00", "+7.600000E+00"}, 3.601, 3},
		{[]string{"+3.601000E+00", "+0.600000E+00", "+3.602000E+00"}, 3.601, 3},
		{[]string{"9.91E37", "+3.600000E+00"}, 3.6, 3},
		{[]string{"9.91E37"}, math.NaN(), 2},
	} {
		before := supply.Count("MEASure:VOLTage?")
		supply.Do(func() { supply.Commands["MEASure:VOLTage?"] = inTurn(c.answers...) })
		got, err := p.Read(t.Context())
		if err != nil || got.Volts != c.want && !(math.IsNaN(got.Volts) && math.IsNaN(c.want)) {
			t.Errorf("readings %q gave %g V, %v; want %g V", c.answers, got.Volts, err, c.want)
		}
		if n := supply.Count("MEASure:VOLTage?") - before; n != c.asked {
			t.Errorf("readings %q: asked %d times, want %d", c.answers, n, c.asked)
		}
	}
}

// TestRecordReadTwice: one sample of a record, or one digit of its preamble,
// comes wrong.
func TestRecordReadTwice(t *testing.T) {
	const right = "2,0,1E-3,1E-2,128,0,0,255,0,1"
	for _, c := range []struct {
		preambles, data []string
		garbled         bool
	}{
		{[]string{right}, []string{"#12\x80\x81"}, false},
		{[]string{right}, []string{"#12\x80\xc1", "#12\x80\x81"}, false},
		{[]string{"2,0,5E-3,1E-2,128,0,0,255,0,1", right}, []string{"#12\x80\x81"}, false},
		{[]string{right}, []string{"#12\x80\xc1", "#12\x80\x81", "#12\x90\x81"}, true},
	} {
		b := openScope(t, "tcp")
		b.fake.Do(func() {
			b.fake.Commands["TRACe:PREamble?"] = inTurn(c.preambles...)
			b.fake.Commands["TRACe:DATA?"] = inTurn(c.data...)
		})
		w, err := b.Fetch(t.Context(), 1)
		if errors.Is(err, scpi.ErrGarbled) != c.garbled {
			t.Fatalf("%q %q: %v", c.preambles, c.data, err)
		}
		if !c.garbled && (w.StepSeconds != 1e-3 || w.Min[0] != 0 || w.Min[1] != 0.01) {
			t.Errorf("%q %q gave %+v", c.preambles, c.data, w)
		}
	}
}

// TestSettingChangedOnItsWay: the scope got another attenuation than was sent,
// and the next Arm must send it again.
func TestSettingChangedOnItsWay(t *testing.T) {
	b := openScope(t, "tcp")
	b.fake.Do(func() { b.fake.Commands["INPut1:ATTenuation?"] = inTurn("+5.000000E+01", "+1.000000E+01") })
	err := b.Arm(t.Context(), envelope)
	var differs *dialect.Mismatch
	if !errors.As(err, &differs) || differs.Setting != "attenuation" || differs.Sent != 10 || differs.Read != 50 {
		t.Fatalf("Arm: %v, want that the attenuation reads back as 50", err)
	}
	if b.fake.Count("ABORt") != 1 {
		t.Error("the scope was not stopped")
	}
	if err := b.Arm(t.Context(), envelope); err != nil {
		t.Fatal(err)
	}
	if n := b.fake.Count("INPut1:ATTenuation 10.0000"); n != 2 {
		t.Errorf("the attenuation was sent %d times, want 2", n)
	}
}

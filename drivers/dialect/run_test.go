package dialect

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"ringup/drivers/scpi"
)

// script is a talker that answers from a list and logs each message.
type script struct {
	sent    []string
	replies map[string]string // by the query at the end of a message
	queue   []scpi.InstrumentMessage
	torn    error
	same    *string // answers everything but the error query
}

func (s *script) Write(_ context.Context, command string) error {
	s.sent = append(s.sent, command)
	return nil
}

func (s *script) Query(_ context.Context, message string) (string, error) {
	s.sent = append(s.sent, message)
	query := message[strings.LastIndex(message, ";")+1:]
	switch {
	case s.same == nil:
	case strings.HasSuffix(query, "ERRor?"):
		return `0,"No error"`, nil
	case query == "*ESR?":
		return "0", nil
	default:
		return *s.same, nil
	}
	return s.replies[strings.TrimPrefix(query, ":")], nil
}

func (s *script) QueryBlock(ctx context.Context, query string) ([]byte, error) {
	r, err := s.Query(ctx, query)
	return []byte(r), err
}

func (s *script) QueryBytes(ctx context.Context, query string, length int) ([]byte, error) {
	r, err := s.Query(ctx, query)
	return []byte(r), err
}

func (s *script) Errors(context.Context) ([]scpi.InstrumentMessage, error) { return s.queue, nil }
func (s *script) Tear(cause error)                                         { s.torn = cause }

func embeddedDialect(t *testing.T, kind Kind, name string) *Dialect {
	t.Helper()
	all, err := Load("")
	if err != nil {
		t.Fatal(err)
	}
	d, err := ByName(all, kind, name)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestRun(t *testing.T) {
	joined, alone := embeddedDialect(t, Supply, "simulated-supply"), embeddedDialect(t, Supply, "scpi99-supply")
	s := &script{replies: map[string]string{"SOURce:VOLTage?": "+3.300000E+00", "SYSTem:ERRor?": `0,"No error"`}}
	settings := Settings{"volts": 3.3, "channel": 1}
	if _, err := joined.Run(t.Context(), s, "set_volts", settings); err != nil {
		t.Error(err)
	}
	if want := []string{"SOURce:VOLTage 3.3000;:SOURce:VOLTage?"}; !slices.Equal(s.sent, want) {
		t.Errorf("joined: sent %q, want %q", s.sent, want)
	}
	s.sent = nil
	if _, err := alone.Run(t.Context(), s, "set_volts", settings); err != nil {
		t.Error(err)
	}
	if want := []string{"SOURce:VOLTage 3.3000", "SOURce:VOLTage?"}; !slices.Equal(s.sent, want) {
		t.Errorf("alone: sent %q, want %q", s.sent, want)
	}
	s.sent = nil
	if _, err := joined.Run(t.Context(), s, "prepare", settings); err != nil {
		t.Error(err)
	}
	if want := []string{"*CLS;:SYSTem:ERRor?"}; !slices.Equal(s.sent, want) {
		t.Errorf("a command without a query: sent %q, want the error queue looked at: %q", s.sent, want)
	}
	if _, err := joined.Run(t.Context(), s, "launch", settings); err == nil {
		t.Error("an operation that is not there was run")
	}
}

func TestVerify(t *testing.T) {
	d := embeddedDialect(t, Supply, "simulated-supply")
	for _, c := range []struct {
		reply string
		ok    bool
	}{{"3.3", true}, {"3.3009", true}, {"3.2991", true}, {"3.302", false}, {"0", false}, {"9.91E37", false}, {"9.9E37", false}} {
		s := &script{replies: map[string]string{"SOURce:VOLTage?": c.reply}, queue: []scpi.InstrumentMessage{{Number: -222, Text: "Data out of range"}}}
		_, err := d.Run(t.Context(), s, "set_volts", Settings{"volts": 3.3})
		var m *Mismatch
		if c.ok && err != nil || !c.ok && !errors.As(err, &m) {
			t.Errorf("3.3 V reads back as %s: %v", c.reply, err)
		}
		if !c.ok && (!strings.Contains(err.Error(), "Data out of range") || m.Sent != 3.3) {
			t.Errorf("%s: %v must say what was sent and the instrument's own words", c.reply, err)
		}
	}
}

func TestReplies(t *testing.T) {
	supply, scope := embeddedDialect(t, Supply, "simulated-supply"), embeddedDialect(t, Scope, "simulated-scope")
	run := func(d *Dialect, operation, query, reply string) (Reply, *script, error) {
		s := &script{replies: map[string]string{query: reply}}
		r, err := d.Run(t.Context(), s, operation, Settings{"channel": 2})
		return r, s, err
	}
	if r, _, err := run(supply, "read_output", "OUTPut?", "1"); err != nil || !r.Yes {
		t.Errorf("read_output = %+v, %v", r, err)
	}
	if r, _, err := run(supply, "read_volts", "MEASure:VOLTage?", "+2.4E+00"); err != nil || r.Number != 2.4 {
		t.Errorf("read_volts = %+v, %v", r, err)
	}
	if _, s, err := run(supply, "read_output", "OUTPut?", "+3.600000E+00"); !errors.Is(err, scpi.ErrGarbled) || s.torn == nil {
		t.Errorf("a reply of another form: %v, torn %v; it may belong to another query", err, s.torn)
	}
	for reply, want := range map[string]State{"32": Waiting, "40": Waiting, "8": Running, "0": Done, "+0": Done} {
		if r, _, err := run(scope, "state", "STATus:OPERation:CONDition?", reply); err != nil || r.State != want {
			t.Errorf("state %q = %q, %v, want %q", reply, r.State, err, want)
		}
	}
	for _, reply := range []string{"1", "-8", "9.91E37", "RUN"} {
		if r, s, err := run(scope, "state", "STATus:OPERation:CONDition?", reply); !errors.Is(err, scpi.ErrGarbled) || s.torn == nil {
			t.Errorf("state %q = %q, %v", reply, r.State, err)
		}
	}
	const preamble = "1000,-1E-3,8E-5,0.02,128,1.5,0,255,1,1"
	r, _, err := run(scope, "preamble", "TRACe:PREamble? CH2", preamble)
	if err != nil || r.Fields["points"] != 1000 || r.Fields["start_seconds"] != -1e-3 || r.Fields["offset_volts"] != 1.5 || r.Fields["detector"] != 1 || r.Fields["valid"] != 1 {
		t.Errorf("preamble = %v, %v", r.Fields, err)
	}
	for _, reply := range []string{preamble + ",1", "1000,0", ""} {
		if _, s, err := run(scope, "preamble", "TRACe:PREamble? CH2", reply); !errors.Is(err, scpi.ErrGarbled) || s.torn == nil {
			t.Errorf("preamble %q: %v", reply, err)
		}
	}
}

// TestNoPeakDetect: a scope that cannot peak-detect has no words for it, and is
// told nothing.
func TestNoPeakDetect(t *testing.T) {
	text := string(must(embedded.ReadFile("files/simulated-scope.toml")))
	before, rest, ok := strings.Cut(text, "[operations.detector]")
	_, after, ok2 := strings.Cut(rest, "[operations.sweep]")
	if !ok || !ok2 {
		t.Fatal("the file has changed")
	}
	d, err := Parse("f.toml", []byte(before+"[operations.sweep]"+after))
	if err != nil {
		t.Fatal(err)
	}
	if commands, err := d.Commands("detector", Settings{"peak": 1}); err != nil || len(commands) != 0 || d.Has("detector") {
		t.Errorf("it is sent %q, %v", commands, err)
	}
}

// TestOptional: an instrument without one protection command is fine, and is not
// asked for it; one that has it and refuses the value, or that reads back another,
// is not.
func TestOptional(t *testing.T) {
	d := embeddedDialect(t, Supply, "scpi99-supply")
	run := func(errors, level, state string) (Reply, []string, error) {
		s := &script{replies: map[string]string{"SYSTem:ERRor?": errors, "SOURce:VOLTage:PROTection?": level, "SOURce:CURRent:PROTection:STATe?": state}}
		r, err := d.Run(t.Context(), s, "set_protection", Settings{"volts": 4, "amps": 0.1, "on": 1})
		return r, s.sent, err
	}
	r, sent, err := run(`-113,"Undefined header"`, "", "")
	if err != nil || len(r.Unknown) != 2 || slices.Contains(sent, "SOURce:VOLTage:PROTection?") {
		t.Errorf("unknown commands: %v, left out %q; sent %q", err, r.Unknown, sent)
	}
	if r, sent, err = run(`0,"No error"`, "4.05", "1"); err != nil || len(r.Unknown) != 0 || !slices.Contains(sent, "SOURce:VOLTage:PROTection?") {
		t.Errorf("accepted: %v, left out %q; sent %q", err, r.Unknown, sent)
	}
	var mismatch *Mismatch
	if _, _, err = run(`0,"No error"`, "32.00", "1"); !errors.As(err, &mismatch) || mismatch.Setting != "volts" {
		t.Errorf("another level reads back: %v, want a mismatch", err)
	}
	if _, _, err = run(`0,"No error"`, "4.05", "0"); !errors.As(err, &mismatch) || mismatch.Setting != "on" {
		t.Errorf("protection reads back as off: %v, want a mismatch", err)
	}
	var refused *scpi.Refused
	if _, _, err = run(`-222,"Data out of range"`, "4.05", "1"); !errors.As(err, &refused) {
		t.Errorf("value refused: %v, want an error", err)
	}
	if _, _, err = run(`gibberish`, "4.05", "1"); !errors.Is(err, scpi.ErrGarbled) {
		t.Errorf("gibberish: %v", err)
	}
}

// TestCompose fills messages up to the instrument's input buffer, no further.
func TestCompose(t *testing.T) {
	d := &Dialect{join: ";:", longest: 16}
	if got, want := d.compose([]string{"AAAA 1", "BBBB 2", "CCCC 3", "*CLS", strings.Repeat("D", 40)}), []string{"AAAA 1;:BBBB 2", "CCCC 3;*CLS", strings.Repeat("D", 40)}; !slices.Equal(got, want) {
		t.Errorf("compose = %q, want %q", got, want)
	}
	d.join = ""
	if got, want := d.compose([]string{"A", "B"}), []string{"A", "B"}; !slices.Equal(got, want) {
		t.Errorf("without join = %q, want %q", got, want)
	}
}

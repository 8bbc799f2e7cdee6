package live

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ringup/drivers"
	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

// night is when the made-up runs begin.
var night = time.Date(2026, 1, 15, 22, 0, 0, 0, time.UTC)

const token = "correct horse"

// madeUpBench is a logbook and an observer, filled by hand where a runner would.
type madeUpBench struct {
	t     testing.TB
	book  *logbook.Book
	watch runner.Observer
	run   logbook.Run
	tally *failrate.Tally
	done  int
	step  int
}

func newBench(t testing.TB) *madeUpBench {
	t.Helper()
	book, err := logbook.Open(filepath.Join(t.TempDir(), "logbook.sqlite"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := book.Close(); err != nil {
			t.Error(err)
		}
	})
	return &madeUpBench{t: t, book: book, watch: runner.Observers{}}
}

func (b *madeUpBench) must(err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

func (b *madeUpBench) begin(planned int) {
	b.t.Helper()
	b.run = logbook.Run{Script: "soak.lua", Unit: "river-level logger 0231", Bench: "bench.toml", Zone: "UTC", Simulated: true,
		State: "running", Started: night, PlannedCycles: planned, ScriptText: "soak {}", BenchText: "[unit]"}
	id, err := b.book.Begin(b.run)
	b.must(err)
	b.run.ID = id
	b.tally, b.done, b.step = failrate.NewTally(runner.Confidence), 0, 0
	b.watch.Observe(runner.Event{Kind: runner.RunStarted, At: night, Run: b.run})
	b.watch.Observe(runner.Event{Kind: runner.Planned, At: night, Run: b.run, Progress: b.progress()})
}

func (b *madeUpBench) progress() runner.Progress {
	p := runner.Progress{Done: b.done, Planned: b.run.PlannedCycles, Conditions: b.tally.Conditions()}
	if left := p.Planned - p.Done; left > 0 {
		p.ExpectedEnd = b.at().Add(time.Duration(left) * 25 * time.Second)
	}
	return p
}

func (b *madeUpBench) at() time.Time { return night.Add(time.Duration(b.done) * 25 * time.Second) }

// cycle is one cycle that started or, if silent, never did.
func (b *madeUpBench) cycle(volts float64, silent bool) {
	b.t.Helper()
	begun := b.at()
	b.done++
	b.step++
	nan := math.NaN()
	c := logbook.Cycle{Run: b.run.ID, Ordinal: b.step, Number: b.done, Treatment: "as found", SetVolts: volts, RestSeconds: 20, WatchSeconds: 0.08,
		Begun: begun, PoweredOn: begun.Add(20 * time.Second), PoweredOff: begun.Add(21 * time.Second), Ended: begun.Add(22 * time.Second),
		AmbientCelsius: 6 - 5*math.Sin(float64(b.done)/400),
		Judgement: verdict.Judgement{Verdict: verdict.Started, Reason: "reached 1.10 V at 7.3728 MHz after 12.1 ms", StartSeconds: 0.03 / volts,
			FrequencyHertz: 7.3728e6, AmplitudeVolts: 1.1, GrowthSeconds: 0.001, RailRiseSeconds: 2e-4, RailVolts: volts,
			DropoutSeconds: nan, LampHertz: nan, SupplyVolts: volts, SupplyAmps: 0.0041}}
	amplitude := 1.1
	if silent {
		amplitude = 0.02
		c.Judgement = verdict.Judgement{Verdict: verdict.Silent, Reason: "no oscillation above 0.05 V within 80 ms", Censored: true,
			StartSeconds: nan, FrequencyHertz: nan, AmplitudeVolts: nan, GrowthSeconds: nan, RailRiseSeconds: 2e-4, RailVolts: volts,
			DropoutSeconds: nan, LampHertz: nan, SupplyVolts: volts, SupplyAmps: 0.0004}
	}
	s := logbook.Step{Run: b.run.ID, Ordinal: b.step, Call: "cycle", Begun: begun, Ended: c.Ended}
	b.must(b.book.BeginStep(s))
	b.must(b.book.EndStep(s, &c, envelope(c, amplitude), nil))
	b.tally.Add(failrate.Observation{Volts: volts, Treatment: c.Treatment, Verdict: string(c.Verdict), Counted: true, Failed: silent, StartSeconds: c.StartSeconds})
	b.watch.Observe(runner.Event{Kind: runner.CycleBegun, At: begun, Run: b.run, Cycle: c})
	b.watch.Observe(runner.Event{Kind: runner.SupplyRead, At: c.PoweredOn, Run: b.run, Output: true, Volts: volts, Amps: c.SupplyAmps})
	b.watch.Observe(runner.Event{Kind: runner.SupplyRead, At: c.PoweredOff, Run: b.run, ConfirmedOff: true})
	b.watch.Observe(runner.Event{Kind: runner.Ambient, At: c.Ended, Run: b.run, Celsius: c.AmbientCelsius})
	b.watch.Observe(runner.Event{Kind: runner.CycleDone, At: c.Ended, Run: b.run, Cycle: c, Progress: b.progress()})
}

// envelope is the peak-detect record of rail and clock that such a cycle would leave.
func envelope(c logbook.Cycle, amplitude float64) []logbook.Waveform {
	const points = 500
	rail := verdict.Trace{StartSeconds: -0.008, StepSeconds: 0.088 / points, LowVolts: -1, HighVolts: 5, Codes: 256}
	clock := rail
	for i := range points {
		t := rail.StartSeconds + float64(i)*rail.StepSeconds
		on, swing := 0.0, 0.01
		if t > 0 {
			on = c.SetVolts
			swing = amplitude / (1 + math.Exp(-(t-0.01)/0.001))
		}
		rail.Min, rail.Max = append(rail.Min, on-0.02), append(rail.Max, on+0.02)
		clock.Min, clock.Max = append(clock.Min, on/2-swing), append(clock.Max, on/2+swing)
	}
	return []logbook.Waveform{{Run: c.Run, Cycle: c.Number, Kind: "rail", Trace: rail}, {Run: c.Run, Cycle: c.Number, Kind: "clock", Trace: clock}}
}

func (b *madeUpBench) mark(text, kind string) {
	b.t.Helper()
	m := logbook.Mark{Run: b.run.ID, At: b.at(), Text: text, Kind: kind, AfterCycle: b.done}
	b.must(b.book.AddMark(m))
	b.watch.Observe(runner.Event{Kind: runner.Marked, At: m.At, Run: b.run, Mark: m})
}

func (b *madeUpBench) ask(question string) {
	b.t.Helper()
	b.run.State, b.run.Reason = "held", "asks: "+question
	b.must(b.book.SetState(b.run.ID, b.run.State, b.run.Reason))
	b.watch.Observe(runner.Event{Kind: runner.Held, At: b.at(), Run: b.run, Reason: b.run.Reason, Question: question})
}

func (b *madeUpBench) end() {
	b.t.Helper()
	b.run.State, b.run.Reason, b.run.Ended = "done", "", b.at()
	b.must(b.book.Finish(b.run.ID, "done", "", b.run.Ended))
	b.watch.Observe(runner.Event{Kind: runner.RunEnded, At: b.run.Ended, Run: b.run, Progress: b.progress()})
}

// commands is a Controller that remembers what it was told.
type commands struct {
	told []string
	fail error
	why  string // not ready
	said map[string][]drivers.Message
}

func (c *commands) tell(format string, a ...any) error {
	if c.fail == nil {
		c.told = append(c.told, fmt.Sprintf(format, a...))
	}
	return c.fail
}

func (c *commands) Submit(_ context.Context, name, script string) (int64, error) {
	return 7, c.tell("submit %s: %s", name, script)
}
func (c *commands) Stop(context.Context) error { return c.tell("stop") }
func (c *commands) Mark(_ context.Context, text string, treatment bool) error {
	return c.tell("mark %s %t", text, treatment)
}
func (c *commands) Answer(_ context.Context, text string) error { return c.tell("answer %s", text) }
func (c *commands) Hold(_ context.Context, why string) error    { return c.tell("hold %s", why) }
func (c *commands) Resume(context.Context) error                { return c.tell("resume") }
func (c *commands) Ready() (bool, string)                       { return c.why == "", c.why }
func (c *commands) Messages() map[string][]drivers.Message      { return c.said }

// serve returns a server over the bench's logbook and lets it observe the bench.
func (b *madeUpBench) serve(o Options) *Server {
	b.t.Helper()
	o.Book = b.book
	o.Version = "test"
	s, err := New(o)
	b.must(err)
	b.t.Cleanup(s.Close)
	b.watch = s
	return s
}

// ask sends one request; each header is "Name: value".
func ask(s http.Handler, method, path, body string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.Host = "127.0.0.1:9742"
	r.RemoteAddr = "127.0.0.1:50000"
	for _, h := range headers {
		name, value, _ := strings.Cut(h, ": ")
		if name == "Host" {
			r.Host = value
			continue
		}
		r.Header.Set(name, value)
	}
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

package report

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"ringup/runner"
	"ringup/runner/failrate"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
)

var evening = time.Date(2026, 1, 12, 20, 5, 0, 0, time.UTC)

// invented makes up runs in a logbook: what each cycle shows is written down
// beforehand, so every number of the report is known.
type invented struct {
	t    *testing.T
	book *logbook.Book
	rng  *rand.Rand
	run  int64
	now  time.Time
	rest float64 // seconds
	n    int

	disagree bool // of the cycles to come
	warnings []string
}

func invent(t *testing.T) *invented {
	t.Helper()
	book, err := logbook.Open(filepath.Join(t.TempDir(), "book.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := errors.Join(book.Check(), book.Close()); err != nil {
			t.Error(err)
		}
	})
	return &invented{t: t, book: book, rng: rand.New(rand.NewPCG(7, 7)), now: evening, rest: 35}
}

func (i *invented) must(err error) {
	i.t.Helper()
	if err != nil {
		i.t.Fatal(err)
	}
}

func (i *invented) begin(script string, planned int, simulated bool) int64 {
	id, err := i.book.Begin(logbook.Run{
		Script: script, ScriptSHA256: strings.Repeat("5c", 32), ScriptText: "soak {\n  volts  = { 3.6, 3.3, 3.0, 2.7, 2.4, 2.2 },\n  cycles = 200, -- <each>\n}\n",
		Bench: "bench.toml", BenchSHA256: strings.Repeat("be", 32), BenchText: "[unit]\nname = \"river-level logger 0231\"\nclock = \"7.3728 MHz\"\n",
		Unit: "river-level logger 0231", Zone: "Europe/Berlin", Seed: 7, Simulated: simulated, Version: "0.1.0", PlannedCycles: planned, Started: i.now,
		Instruments: map[string]string{"supply": "ringup, simulated supply, SUP-7, 1", "scope": "ringup, simulated oscilloscope, OSC-7, 1", "thermometer": "ringup, simulated thermometer, THM-7, 1"},
	})
	i.must(err)
	i.run, i.n = id, 0
	return id
}

func (i *invented) mark(kind, text string) {
	i.must(i.book.AddMark(logbook.Mark{Run: i.run, At: i.now, Text: text, Kind: kind, AfterCycle: i.n}))
}

func (i *invented) cycle(treatment string, volts float64, v verdict.Verdict) {
	i.n++
	c := logbook.Cycle{Run: i.run, Number: i.n, Treatment: treatment, SetVolts: volts, RestSeconds: i.rest, WatchSeconds: 0.08,
		Begun: i.now, PoweredOn: i.now.Add(35 * time.Second), PoweredOff: i.now.Add(36 * time.Second), Ended: i.now.Add(36 * time.Second)}
	c.AmbientCelsius = 20 + 3*math.Cos(i.now.Sub(evening).Hours()/24*2*math.Pi+1) + 0.2*i.rng.NormFloat64()
	nan := math.NaN()
	c.Judgement = verdict.Judgement{Verdict: v, StartSeconds: nan, FrequencyHertz: nan, AmplitudeVolts: nan, GrowthSeconds: nan, RailRiseSeconds: 3e-4,
		RailVolts: volts, DropoutSeconds: nan, Lamp: "dark", LampHertz: nan, SupplyVolts: volts, SupplyAmps: 0.0062, Censored: v.Failed()}
	start := 0.0
	switch v {
	case verdict.Started:
		start = (6 + 9*(3.6-volts) + i.rng.ExpFloat64()) * 1e-3
		c.StartSeconds, c.Reason = start, fmt.Sprintf("Steady at 7.3728 MHz, 0.92 V, %.1f ms after the rail.", 1e3*start)
	case verdict.Late:
		start = 70e-3
		c.StartSeconds, c.Reason, c.Censored = start, "Steady only after 70 ms; 65 ms are allowed.", false
	case verdict.Unread:
		c.Reason = "The scope did not answer TRACe:DATA? CH2 within 2 s."
	default:
		c.Reason = "No oscillation in 80 ms: 0.03 V peak, where 0.8 V are needed."
	}
	c.Disagree, c.Warnings = i.disagree, i.warnings
	step := logbook.Step{Run: i.run, Ordinal: i.n, Call: "cycle", Arguments: json.RawMessage(`{}`), Result: json.RawMessage(`{}`), Begun: c.Begun, Ended: c.Ended}
	i.must(i.book.EndStep(step, &c, i.waveforms(volts, start), nil))
	i.now = c.Ended
}

func (i *invented) waveforms(volts, start float64) []logbook.Waveform {
	rail := verdict.Trace{StartSeconds: -2e-3, StepSeconds: 1e-4, LowVolts: -1, HighVolts: 5, Codes: 256}
	clock := verdict.Trace{StartSeconds: -2e-3, StepSeconds: 1e-4, LowVolts: -1, HighVolts: 5, Codes: 256}
	for k := range 820 {
		s := rail.StartSeconds + float64(k)*rail.StepSeconds
		v := volts * (1 - math.Exp(-max(0, s)/3e-4))
		a := 0.01
		if start > 0 {
			a = max(a, min(volts/2.6, math.Exp((s-start)/(start/9))))
		}
		rail.Min, rail.Max = append(rail.Min, v-0.02), append(rail.Max, v+0.02)
		clock.Min, clock.Max = append(clock.Min, v*0.46-a-0.02*i.rng.Float64()), append(clock.Max, v*0.46+a+0.02*i.rng.Float64())
	}
	return []logbook.Waveform{{Kind: "rail", Trace: rail}, {Kind: "clock", Trace: clock}}
}

// soak does so many cycles at each voltage in turn; the failures of a voltage are
// its last cycles, in the coldest hours.
func (i *invented) soak(treatment string, cycles int, failures map[float64]int, volts ...float64) {
	for k := range cycles {
		for _, v := range volts {
			kind := verdict.Started
			if cycles-k <= failures[v] {
				kind = verdict.Silent
				if k%9 == 4 {
					kind = verdict.Late
				}
			}
			i.cycle(treatment, v, kind)
		}
	}
}

var asFound = map[float64]int{3.6: 0, 3.3: 0, 3.0: 3, 2.7: 21, 2.4: 84, 2.2: 163}

// night makes up the whole story: soak, hunt, proof.
func night(t *testing.T) (i *invented, soak, hunt, proof int64) {
	i = invent(t)
	soak = i.begin("soak.lua", 1203, true)
	i.soak("as found", 200, asFound, 3.6, 3.3, 3.0, 2.7, 2.4, 2.2)
	for range 3 {
		i.cycle("as found", 2.4, verdict.Unread)
	}
	i.must(i.book.Finish(soak, "done", "all cycles done", i.now))
	hunt = i.begin("hunt.lua", 0, true)
	for _, block := range []struct {
		treatment        string
		cycles, failures int
	}{{"as found", 40, 12}, {"C8 chilled", 40, 13}, {"Y1 chilled", 40, 10}, {"C7 chilled", 40, 38}, {"C7 warmed", 40, 0}} {
		i.mark("treatment", block.treatment)
		i.soak(block.treatment, block.cycles, map[float64]int{2.3: block.failures}, 2.3)
	}
	i.must(i.book.Finish(hunt, "done", "all cycles done", i.now))
	proof = i.begin("proof.lua", 300, true)
	i.mark("treatment", "C7 = 27 pF")
	i.soak("C7 = 27 pF", 100, nil, 2.7, 2.4, 2.2)
	i.must(i.book.Finish(proof, "done", "all cycles done", i.now))
	return i, soak, hunt, proof
}

// render writes a report and fails the test unless it is well-formed.
func render(t *testing.T, book *logbook.Book, run int64, o Options) string {
	t.Helper()
	var out bytes.Buffer
	o.Written = evening.Add(14 * time.Hour)
	if err := Write(&out, book, run, o); err != nil {
		t.Fatal(err)
	}
	decoder := xml.NewDecoder(bytes.NewReader(out.Bytes()))
	for {
		_, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("the report is not well-formed: %v", err)
		}
	}
	if dir := os.Getenv("RINGUP_REPORT_DIR"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, t.Name()+".html"), out.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return out.String()
}

var markup = regexp.MustCompile(`<[^>]*>`)

// words is the text of a page with single blanks.
func words(page string) string {
	page = regexp.MustCompile(`(?s)<style>.*?</style>`).ReplaceAllString(page, "")
	page = markup.ReplaceAllString(page, " ")
	return strings.Join(strings.Fields(strings.NewReplacer("&#34;", `"`, "&lt;", "<", "&gt;", ">", "&#39;", "'", "&amp;", "&").Replace(page)), " ")
}

func expect(t *testing.T, text string, wanted ...string) {
	t.Helper()
	for _, want := range wanted {
		if !strings.Contains(text, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
}

func TestReportOfTheWholeStory(t *testing.T) {
	i, soak, hunt, proof := night(t)
	page := render(t, i.book, soak, Options{Title: "Start-up fault of river-level logger 0231", Compare: []int64{hunt, proof}, Version: "0.1.0", AllowedSeconds: 65e-3})
	text := words(page)

	night1, err := runner.AnalyseRun(i.book, soak)
	if err != nil {
		t.Fatal(err)
	}
	// The failures were made to come last, so the interval is the widened one.
	order := night1.Nights[len(night1.Nights)-1]
	worst := order.Interval
	if exact := failrate.ClopperPearson(163, 200, 0.95); !order.Widened || order.Volts != 2.2 || worst.Low >= exact.Low || worst.High <= exact.High {
		t.Fatalf("%+v is not the widened interval at 2.2 V", order)
	}
	clean := failrate.ClopperPearson(0, 400, 0.95)
	expect(t, text,
		fmt.Sprintf("At 2.2 V, its worst voltage, the unit failed to start in 163 of 200 cycles: 81.5 %%, between %.1f %% and %.1f %% with 95 %% confidence, which allows for cycles that were not independent of each other.", 100*worst.Low, 100*worst.High),
		"Over all 6 conditions 271 of 1,200 counted starts failed (22.6 %).",
		fmt.Sprintf("At 3.6 V and 3.3 V none of 400 failed: the failure rate there is below %.2f %%", 100*clean.High),
		"3.6 V, 3.3 V, 3.0 V, 2.7 V, 2.4 V and 2.2 V; rest 35 s before each start; watched for 80 ms",
		"1,203 of 1,203 planned", "simulated : no real instrument and no real unit took part",
		"unread 3 cycle 1201", "The scope did not answer TRACe:DATA? CH2 within 2 s.",
		"ringup, simulated supply, SUP-7, 1", strings.Repeat("5c", 32), "cycles = 200, -- <each>", "seed 7", "time zone Europe/Berlin",
		"Mon 12 Jan 2026 21:05:00 CET", "Never feed a supply into a fitted cell",
		"A failure beside a start in the same condition (as found, ",
		"These are numbers of a simulated bench.",
	)
	// 0 of 200 at 95 %: 1 - 0.05^(1/200), 1.49 %; the rule-of-three value is 1.5 %.
	expect(t, text, "as found 3.6 V 200 0 0 % below 1.5 % 0 ")
	// The hunt's rows hold each treatment against the cycles around it, the proof's against the soak.
	for _, row := range []string{
		`C7 chilled 38 of 40 \d+ of \d+ [^p]*? < 0\.0001 worse`,
		`C7 warmed 0 of 40 \d+ of \d+ [^p]*? better`,
		`C8 chilled 13 of 40 \d+ of \d+ [^p]*? no change shown`,
		`C7 = 27 pF run 3 against 1 2.4 V 84 of 200 0 of 100 [^p]*? ` + regexp.QuoteMeta(probability(failrate.FisherExact(84, 200, 0, 100))) + ` .*? fewer failures`,
	} {
		if !regexp.MustCompile(row).MatchString(text) {
			t.Errorf("no row %s", row)
		}
	}
	if strings.Contains(text, "run 2 against") {
		t.Error("treatments of the hunt are compared a second time, with other cycles")
	}
	// The same words as the statistics', worked out here from what was made up.
	hunt2, err := runner.AnalyseRun(i.book, hunt)
	if err != nil {
		t.Fatal(err)
	}
	expect(t, text, "What the treatments did", "Run 2: "+hunt2.Hunt.Sentence()+".", "C7 chilled: 95 % fail against",
		"Failure rate against voltage", night1.Thresholds[0].Volts[2].Sentence, "50 % of cycles fail at 2.3",
		"Was it the same from first to last?", night1.Nights[0].Sentence,
		"Run 3 against run 1: C7 = 27 pF: 0 % fail against")
	if strings.Contains(text, "as found run 2") {
		t.Error("blocks as found of the hunt are compared with the soak")
	}
	if n := strings.Count(page, "<svg"); n != 5 {
		t.Errorf("%d charts, want 5", n)
	}
	if strings.Contains(page, "<script") || regexp.MustCompile(`(src|href)=`).MatchString(page) {
		t.Error("the report needs something from outside")
	}
}

func TestReportWhenNothingFailed(t *testing.T) {
	i := invent(t)
	run := i.begin("soak.lua", 0, false)
	i.soak("as found", 150, nil, 3.6, 3.0)
	i.must(i.book.SetAccepted(run, true))
	i.must(i.book.Finish(run, "done", "", i.now))
	text := words(render(t, i.book, run, Options{}))
	// 1 - 0.05^(1/300) = 0.9936 %; ten times lower takes ln 0.05 / ln(1 - 0.0009936) = 3,013.6.
	expect(t, text, "None of 300 starts failed: with 95 % confidence fewer than 0.99 % of its starts fail.", "takes about 3,014 cycles without a failure",
		"No waveform of a failure is in the logbook", "Nothing: every cycle gave a verdict on the unit.", "accepted", "real instruments")
	if strings.Contains(text, "simulated bench") {
		t.Error("a real bench is called simulated")
	}
}

func TestReportOfHalfARun(t *testing.T) {
	i := invent(t)
	run := i.begin("soak.lua", 1200, false)
	expect(t, words(render(t, i.book, run, Options{})), "No start could be counted", "The run is not complete", "none: no cycle was done")

	i.cycle("as found", 2.4, verdict.Silent)
	i.cycle("as found", 2.4, verdict.Unread)
	i.must(i.book.SetState(run, "held", "the supply does not answer"))
	// One failure in one: at least 5 % (1 - 0.95) with 95 % confidence.
	expect(t, words(render(t, i.book, run, Options{})), "failed to start in 1 of 1 cycles: 100 %, above 5.0 %", "held: the supply does not answer", "1 of 2 cycles could not be counted")
}

func TestReportKeepsStrangeTextHarmless(t *testing.T) {
	i := invent(t)
	run := i.begin("<script>alert(1)</script>.lua", 1, false)
	i.mark("mark", "a & b </td><script>x</script> \x02")
	i.cycle("</svg><script>1</script>", 2.4, verdict.Silent)
	page := render(t, i.book, run, Options{Title: `"<i>`})
	if strings.Contains(page, "<script") {
		t.Error("text of the logbook became markup")
	}
}

func TestReportSaysThatRestsDiffered(t *testing.T) {
	i := invent(t)
	before := i.begin("soak.lua", 0, false)
	i.soak("as found", 20, map[float64]int{2.4: 9}, 2.4)
	i.rest = 5
	after := i.begin("soak.lua", 0, false)
	i.soak("as found", 20, nil, 2.4)
	text := words(render(t, i.book, before, Options{Compare: []int64{after}}))
	// Fisher's p for 9 of 20 against 0 of 20 is 0.00123, of C(20,9)/C(40,9) twice.
	expect(t, text, "as found run 2 against 1 2.4 V 9 of 20 0 of 20", " 0.0012 0.0012 fewer failures",
		"Run 1 rested 35 s before each start, run 2 5 s: part of a difference between them may come from that.")
}

func TestReportSaysWhatIsNotSoSure(t *testing.T) {
	i := invent(t)
	run := i.begin("soak.lua", 0, false)
	i.cycle("as found", 2.4, verdict.Started)
	if text := words(render(t, i.book, run, Options{})); strings.Contains(text, "not so sure") || strings.Contains(text, "Warnings") {
		t.Error("doubts without a reason")
	}
	i.disagree, i.warnings = true, []string{verdict.WitnessesDisagree + ": the lamp blinks", "the rail sagged by 0.31 V"}
	for range 12 {
		i.cycle("as found", 2.4, verdict.Silent)
	}
	expect(t, words(render(t, i.book, run, Options{})), "In 12 of 13 cycles the lamp or the supply current contradict the clock.", "The first 10:",
		"11 silent No oscillation in 80 ms", "the rail sagged by 0.31 V (12 of 13 cycles, first in cycle 2)")
}

func TestReportOfNoRun(t *testing.T) {
	i := invent(t)
	var out bytes.Buffer
	if err := Write(&out, i.book, 5, Options{}); !errors.Is(err, logbook.ErrNoRun) || out.Len() > 0 {
		t.Errorf("Write = %v with %d bytes", err, out.Len())
	}
	run := i.begin("soak.lua", 1, false)
	if err := Write(&out, i.book, run, Options{Compare: []int64{9}}); !errors.Is(err, logbook.ErrNoRun) || out.Len() > 0 {
		t.Errorf("Write with a missing run to compare = %v with %d bytes", err, out.Len())
	}
}

func TestWords(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{percent(0), "0 %"}, {percent(1), "100 %"}, {percent(0.2261), "22.6 %"}, {percent(0.01486), "1.5 %"}, {percent(0.00748), "0.75 %"},
		{percent(0.0003), "0.030 %"}, {percent(0.9997), "99.97 %"}, {percent(math.NaN()), "–"}, {percent(1e-7), "under 0.001 %"},
		{failrate.Count(7), "7"}, {failrate.Count(1200), "1,200"}, {failrate.Count(1234567), "1,234,567"}, {volts(3), "3.0 V"}, {volts(2.45), "2.45 V"},
		{seconds(0.08), "80 ms"}, {seconds(35), "35 s"}, {seconds(3600), "1 h"}, {seconds(math.NaN()), ""}, {milliseconds(0.0123), "12.3 ms"}, {milliseconds(0.022), "22.0 ms"}, {milliseconds(0.1), "100 ms"}, {milliseconds(1.5), "1500 ms"},
		{probability(3e-9), "< 0.0001"}, {probability(0.0123), "0.012"}, {probability(0.5), "0.50"}, {failrate.List([]string{"a", "b", "c"}), "a, b and c"},
		{lasted(11*time.Hour + 44*time.Minute + 59*time.Second), "11 h 44 min"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

package main

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"ringup/runner"
	"ringup/runner/bench"
	"ringup/runner/logbook"
	"ringup/runner/verdict"
	"ringup/runner/verdict/recording"
)

// exportWaveform writes the waveforms of one cycle, with what they were judged
// against, in the layout that ringup judge reads.
func exportWaveform(w io.Writer, book *logbook.Book, run int64, number int) error {
	cycles, err := book.Cycles(run, number-1, 1)
	if err != nil {
		return err
	}
	if len(cycles) == 0 || cycles[0].Number != number {
		return usage{fmt.Errorf("run %d has no cycle %d; see its cycles with: ringup export %d", run, number, run)}
	}
	waveforms, err := book.Waveforms(run, number)
	if err != nil {
		return err
	}
	if len(waveforms) == 0 {
		kept, err := book.WaveformCycles(run)
		if err != nil {
			return err
		}
		return usage{fmt.Errorf("cycle %d of run %d: no waveform was kept (they are of every failure, of every cycle whose witnesses disagree, of the first cycle of each verdict in each condition, and of every 50th start); kept are %s",
			number, run, ranges(kept))}
	}
	r, err := book.Run(run)
	if err != nil {
		return err
	}
	remarks, err := waveformRemarks(r, cycles[0])
	if err != nil {
		return err
	}
	return recording.Write(w, remarks, waveformTables(waveforms))
}

// waveformRemarks say what a cycle was, and what its waveforms were judged against.
func waveformRemarks(r logbook.Run, c logbook.Cycle) ([]string, error) {
	b, err := bench.Parse(r.Bench, []byte(r.BenchText))
	if err != nil {
		return nil, fmt.Errorf("the bench file kept with run %d: %w", r.ID, err)
	}
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	supply := "supply: set_volts=" + number(c.SetVolts)
	if !math.IsNaN(c.SupplyVolts) {
		supply += " volts=" + number(c.SupplyVolts)
	}
	if !math.IsNaN(c.SupplyAmps) {
		supply += " amps=" + number(c.SupplyAmps)
	}
	x := runner.Expect(b, c.SetVolts, c.WatchSeconds)
	limits := fmt.Sprintf("limits: rail_fraction=%s clock_hertz=%s frequency_within=%s amplitude_min_v=%s start_within_seconds=%s watch_seconds=%s",
		number(x.RailFraction), number(x.ClockHertz), number(x.FrequencyWithin), number(x.AmplitudeMinVolts), number(x.StartWithinSeconds), number(x.WatchSeconds))
	if x.UseAlias {
		limits += " use_alias=yes"
	}
	if x.LampHertz > 0 {
		limits += " lamp_hertz=" + number(x.LampHertz)
	}
	band := func(name string, b verdict.Band) {
		if b.HighAmps > 0 {
			limits += fmt.Sprintf(" %s_amps=%s..%s", name, number(b.LowAmps), number(b.HighAmps))
		}
	}
	band("off", x.Current.Off)
	band("hung", x.Current.Hung)
	band("running", x.Current.Running)
	return []string{
		fmt.Sprintf("comment: run %d, cycle %d, %s, judged %s", c.Run, c.Number, c.Treatment, c.Verdict),
		fmt.Sprintf("source: %s, %s", r.Unit, c.Begun.In(r.Location()).Format("2006-01-02 15:04:05 -0700")),
		supply, limits,
	}, nil
}

// waveformTables puts the waveforms of a cycle in the tables of a file.
func waveformTables(waveforms []logbook.Waveform) []recording.Table {
	envelope := recording.Table{Name: "envelope"}
	var others []recording.Table
	for _, w := range waveforms {
		switch w.Kind {
		case "rail", "clock":
			envelope.Columns = append(envelope.Columns, recording.Column{Name: w.Kind, Trace: w.Trace})
		case "steady":
			others = append(others, recording.Table{Name: "steady", Columns: []recording.Column{{Name: "clock", Trace: w.Trace}}})
		case "lamp":
			others = append(others, recording.Table{Name: "lamp", Columns: []recording.Column{{Name: "lamp", Trace: w.Trace}}})
		}
	}
	return append([]recording.Table{envelope}, others...)
}

// ranges writes ascending numbers as "1 to 4, 9, 12 to 13".
func ranges(numbers []int) string {
	if len(numbers) == 0 {
		return "none of this run"
	}
	var parts []string
	for i := 0; i < len(numbers); {
		k := i
		for k+1 < len(numbers) && numbers[k+1] == numbers[k]+1 {
			k++
		}
		if k > i {
			parts = append(parts, fmt.Sprintf("%d to %d", numbers[i], numbers[k]))
		} else {
			parts = append(parts, strconv.Itoa(numbers[i]))
		}
		i = k + 1
	}
	return "cycles " + strings.Join(parts, ", ")
}

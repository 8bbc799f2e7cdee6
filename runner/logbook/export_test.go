package logbook

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"
)

func TestCSVReadsBack(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	addCycles(t, b, run, 1, 9)
	odd := sampleCycle(10)
	odd.Treatment, odd.Factors = "C7 = 12 pF, \"second try\"\nwarm", map[string]string{"angle, degrees": "30"}
	odd.PoweredOn, odd.PoweredOff = time.Time{}, time.Time{}
	odd.Disagree, odd.Warnings = true, []string{"the witnesses disagree: the lamp stays dark", "the rail sagged by 0.2 V"}
	record(t, b, run, odd)

	var out bytes.Buffer
	if err := b.ExportCSV(&out, run); err != nil {
		t.Fatal(err)
	}
	if lines := strings.Count(out.String(), "\r\n"); lines != 11+1 { // encoding/csv words the line break in the field so, too
		t.Errorf("%d line ends, want 12", lines)
	}
	records, err := csv.NewReader(&out).ReadAll()
	if err != nil || len(records) != 11 {
		t.Fatalf("%d records, %v", len(records), err)
	}
	header := records[0]
	for i, record := range records[1:] {
		want := sampleCycle(i + 1)
		if i == 9 {
			want = odd
		}
		field := map[string]string{}
		for j, name := range header {
			if _, twice := field[name]; twice {
				t.Fatalf("column %q occurs twice", name)
			}
			field[name] = record[j]
		}
		text := map[string]string{
			"run": "1", "number": strconv.Itoa(want.Number), "treatment": want.Treatment, "verdict": string(want.Verdict), "reason": want.Reason,
			"lamp": string(want.Lamp), "counted": "true", "failed": strconv.FormatBool(want.Verdict.Failed()),
			"factor_side": want.Factors["side"], "factor_angle, degrees": want.Factors["angle, degrees"], "phase_rest_seconds": "3",
			"disagree": strconv.FormatBool(want.Disagree), "warnings": strings.Join(want.Warnings, "; "),
		}
		for name, w := range text {
			if field[name] != w {
				t.Errorf("cycle %d: %s = %q, want %q", want.Number, name, field[name], w)
			}
		}
		numbers := map[string]float64{
			"set_volts": want.SetVolts, "start_seconds": want.StartSeconds, "frequency_hertz": want.FrequencyHertz,
			"supply_amps": want.SupplyAmps, "ambient_celsius": want.AmbientCelsius, "dropout_seconds": want.DropoutSeconds,
		}
		for name, w := range numbers {
			if math.IsNaN(w) {
				if field[name] != "" {
					t.Errorf("cycle %d: %s = %q, want an empty field", want.Number, name, field[name])
				}
			} else if got, err := strconv.ParseFloat(field[name], 64); err != nil || got != w {
				t.Errorf("cycle %d: %s = %q, want %v", want.Number, name, field[name], w)
			}
		}
		for name, w := range map[string]time.Time{"begun": want.Begun, "powered_on": want.PoweredOn, "powered_off": want.PoweredOff, "ended": want.Ended} {
			if w.IsZero() {
				if field[name] != "" {
					t.Errorf("cycle %d: %s = %q, want an empty field", want.Number, name, field[name])
				}
			} else if got, err := time.Parse(time.RFC3339Nano, field[name]); err != nil || !got.Equal(w) {
				t.Errorf("cycle %d: %s = %q, want %s", want.Number, name, field[name], w)
			}
		}
	}
	if err := b.ExportCSV(io.Discard, 9); !errors.Is(err, ErrNoRun) {
		t.Errorf("export of no run: %v", err)
	}
}

func TestJSONLines(t *testing.T) {
	b := openBook(t)
	run := begin(t, b)
	addCycles(t, b, run, 1, 7)
	if err := b.AddMark(Mark{Run: run, At: night, Text: "C7 chilled", Kind: "treatment", AfterCycle: 7}); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := b.ExportJSONLines(&out, run); err != nil {
		t.Fatal(err)
	}
	var kinds []string
	var last map[string]any
	for lines := bufio.NewScanner(&out); lines.Scan(); {
		last = nil
		if err := json.Unmarshal(lines.Bytes(), &last); err != nil {
			t.Fatalf("%v in %s", err, lines.Bytes())
		}
		kinds = append(kinds, last["record"].(string))
	}
	if got := strings.Join(kinds, " "); got != "run mark cycle cycle cycle cycle cycle cycle cycle" {
		t.Errorf("records: %s", got)
	}
	for key, want := range map[string]any{
		"run": 1.0, "number": 7.0, "verdict": "silent", "failed": true, "counted": true, "start_seconds": nil, "ambient_celsius": nil,
		"set_volts": sampleCycle(7).SetVolts, "begun": "2026-01-12T21:00:35.123456789Z", "censored": true,
	} {
		if got, ok := last[key]; !ok || got != want {
			t.Errorf("%s = %v, want %v", key, got, want)
		}
	}
	if side := last["factors"].(map[string]any)["side"]; side != "A" {
		t.Errorf("factors = %v", last["factors"])
	}
}

package verdict

import (
	"math"
	"strings"
	"testing"
)

// Where there is no steady record the scope's own measurement decides, and the judgement says so.
func TestOwnMeasurementInsteadOfASteadyRecord(t *testing.T) {
	const why = "the scope refused its steady record"
	s := healthy()
	for name, c := range map[string]struct {
		own         OwnMeasurement
		verdict     Verdict
		hertz, volt float64
		reason      string
	}{
		"good":         {OwnMeasurement{7.3729e6, 3.25, why}, Started, 7.3729e6, 1.6, "by the scope's own measurement"},
		"overtone":     {OwnMeasurement{22.12e6, 3.25, why}, OffFrequency, 22.12e6, 1.6, "by the scope's own measurement"},
		"hertz alone":  {OwnMeasurement{7.3729e6, math.NaN(), why}, Started, 7.3729e6, 1.6, "by the scope's own measurement"},
		"no frequency": {OwnMeasurement{math.NaN(), 3.2, why}, Started, math.NaN(), 1.6, "its frequency was not checked: " + why},
	} {
		e := s.evidence()
		e.Steady = Trace{}
		c.own.Why = why
		e.Own = &c.own
		j := Judge(e, s.expect())
		if j.Verdict != c.verdict || !strings.Contains(j.Reason, c.reason) || math.Abs(j.AmplitudeVolts-c.volt) > 0.05 {
			t.Errorf("%s: %s, %v V: %s", name, j.Verdict, j.AmplitudeVolts, j.Reason)
		}
		if j.FrequencyHertz != c.hertz && !(math.IsNaN(j.FrequencyHertz) && math.IsNaN(c.hertz)) || !math.IsNaN(j.SD.FrequencyHertz) {
			t.Errorf("%s: %v ± %v Hz, want %v without an uncertainty", name, j.FrequencyHertz, j.SD.FrequencyHertz, c.hertz)
		}
		if math.Abs(j.StartSeconds-s.startsAt) > 3*j.SD.StartSeconds {
			t.Errorf("%s: start %v ± %v, true %v", name, j.StartSeconds, j.SD.StartSeconds, s.startsAt)
		}
		if warned := strings.Contains(strings.Join(j.Warnings, "\n"), why); warned == math.IsNaN(c.hertz) {
			t.Errorf("%s: warnings %q", name, j.Warnings)
		}
	}
	// A steady record is better than that.
	e := s.evidence()
	e.Own = &OwnMeasurement{22.12e6, 3.25, why}
	if j := Judge(e, s.expect()); j.Verdict != Started || len(j.Warnings) > 0 {
		t.Errorf("with a steady record: %s: %s %q", j.Verdict, j.Reason, j.Warnings)
	}
}

// Without a rail a start is timed from the trigger, and its uncertainty is that of the clock's crossing.
func TestStartWithoutRailHasAnUncertainty(t *testing.T) {
	s := healthy()
	e := s.evidence()
	with := Judge(e, s.expect())
	e.Rail, e.NoRail = Trace{}, true
	j := Judge(e, s.expect())
	if !(j.SD.StartSeconds > 0) || j.SD.StartSeconds > with.SD.StartSeconds {
		t.Errorf("start uncertain by %v s without, %v s with the rail", j.SD.StartSeconds, with.SD.StartSeconds)
	}
	if math.Abs(j.StartSeconds-(s.startsAt-s.trigger)) > 3*j.SD.StartSeconds {
		t.Errorf("start %v ± %v, true %v from the trigger", j.StartSeconds, j.SD.StartSeconds, s.startsAt-s.trigger)
	}
}

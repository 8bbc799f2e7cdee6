package drivers

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"ringup/drivers/dialect"
	"ringup/drivers/scpi"
)

// A wrong digit makes another number, which no syntax shows, and a serial line
// has nothing but its parity bit, if that, to tell. So whatever is recorded is
// read until two readings vouch for it.

// number carries out an operation that measures, twice, and where the readings
// differ a third time: the middle one is the measurement. One reading that went
// wrong is then never it, however much the quantity itself moves about.
func (d *device) number(ctx context.Context, operation string, s dialect.Settings) (float64, error) {
	var readings []float64
	for len(readings) < 2 || len(readings) < 3 && !same(readings[0], readings[1]) {
		r, err := d.run(ctx, operation, s)
		if err != nil {
			return math.NaN(), err
		}
		readings = append(readings, measured(r.Number))
	}
	slices.Sort(readings) // NaN first
	return readings[len(readings)/2], nil
}

func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

// RecordReadings is how often a record is read at least.
const RecordReadings = 2

// record is a channel's record as the scope gives it.
type record struct {
	preamble map[string]float64
	frame    frame
	data     dialect.Reply
}

func (r record) equal(other record) bool {
	return maps.Equal(r.preamble, other.preamble) && slices.Equal(r.data.Samples, other.data.Samples)
}

// record reads a record until two readings of it are the same: it stands still
// in the scope's memory.
func (s *scope) record(ctx context.Context, channel int) (record, error) {
	var readings []record
	for range 3 {
		r, err := s.readRecord(ctx, channel)
		if err != nil {
			return record{}, err
		}
		if slices.ContainsFunc(readings, r.equal) {
			return r, nil
		}
		readings = append(readings, r)
	}
	err := fmt.Errorf("%w: one record was read three times, and no two readings are the same", scpi.ErrGarbled)
	s.session.Tear(err)
	return record{}, s.explain("data", err)
}

// readRecord reads a record once.
func (s *scope) readRecord(ctx context.Context, channel int) (record, error) {
	settings := dialect.Settings{"channel": float64(channel)}
	preamble, err := s.run(ctx, "preamble", settings)
	if err != nil {
		return record{}, err
	}
	f, err := readFrame(preamble.Fields)
	if err != nil {
		if KindOf(err) == "garbled" {
			s.session.Tear(err)
		}
		return record{}, s.explain("preamble", err)
	}
	settings["samples"] = float64(f.samples())
	data, err := s.run(ctx, "data", settings)
	return record{preamble.Fields, f, data}, err
}

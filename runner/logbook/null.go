package logbook

import (
	"database/sql"
	"math"
	"time"
)

// number stores a measure: NULL when it was not measured. An infinity is no
// measure either, and SQL has no word for it.
func number(v float64) any {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return v
}

func measure(v sql.NullFloat64) float64 {
	if !v.Valid {
		return math.NaN()
	}
	return v.Float64
}

// pointer gives JSON its null.
func pointer(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// nanoseconds stores a moment as integer nanoseconds since 1970 UTC, NULL for
// the zero time.
func nanoseconds(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.UnixNano()
}

func moment(ns sql.NullInt64) time.Time {
	if !ns.Valid {
		return time.Time{}
	}
	return time.Unix(0, ns.Int64).UTC()
}

package drivers

import (
	"context"
	"fmt"

	"ringup/drivers/scpi"
)

// thermometer is a thermometer spoken to through its dialect.
type thermometer struct{ *device }

// Absolute zero, and more than a bench survives, in degrees Celsius.
const coldest, hottest = -273.15, 1000

// Celsius implements Thermometer.
func (t *thermometer) Celsius(ctx context.Context) (float64, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if err := t.ready(ctx); err != nil {
		return 0, err
	}
	celsius, err := t.number(ctx, "read", nil)
	if err != nil {
		return 0, err
	}
	if celsius < coldest || celsius > hottest {
		return 0, t.explain("read", fmt.Errorf("%w: %g °C is no ambient temperature", scpi.ErrGarbled, celsius))
	}
	return celsius, nil
}

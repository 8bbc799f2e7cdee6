package drivers

import "context"

// OpenSupply opens a supply, identifies it and chooses its dialect.
func OpenSupply(ctx context.Context, o Options) (Supply, error) {
	d, err := openDevice(ctx, o, "supply")
	if err != nil {
		return nil, err
	}
	return &supply{device: d}, nil
}

// OpenScope opens an oscilloscope, identifies it and chooses its dialect.
func OpenScope(ctx context.Context, o Options) (Scope, error) {
	d, err := openDevice(ctx, o, "scope")
	if err != nil {
		return nil, err
	}
	return &scope{device: d}, nil
}

// OpenThermometer opens a thermometer, identifies it and chooses its dialect.
func OpenThermometer(ctx context.Context, o Options) (Thermometer, error) {
	d, err := openDevice(ctx, o, "thermometer")
	if err != nil {
		return nil, err
	}
	return &thermometer{d}, nil
}

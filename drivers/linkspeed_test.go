package drivers

import "testing"

func TestBytesPerSecond(t *testing.T) {
	for address, want := range map[string]float64{
		"serial:/dev/ttyUSB0":                                    960,
		"serial:/dev/ttyUSB0?baud=115200":                        11520,
		"serial:/dev/ttyS0?baud=1200&bits=7&parity=even&stop=2":  1200.0 / 11,
		"serial:/dev/ttyS0?baud=1050&parity=odd&stop=1.5&bits=7": 1050 / 10.5,
		"tcp:192.0.2.17:5025":                                    0,
		"usbtmc:/dev/usbtmc0":                                    0,
		"sim:scope":                                              0,
	} {
		if got := BytesPerSecond(address); got != want {
			t.Errorf("%s carries %v bytes/s, want %v", address, got, want)
		}
	}
}

package drivers

import "testing"

// TestPlaceIgnoresHow has one instrument's address say how to talk to it in two ways.
func TestPlaceIgnoresHow(t *testing.T) {
	for _, c := range [][2]string{
		{"serial:/dev/ttyUSB7?baud=9600", "serial:/dev/ttyUSB7?baud=2400&parity=even"},
		{"usbtmc:serial=A22-5&vendor=0x1234", "usbtmc:mav=off&vendor=4660&serial=A22-5"},
		{"usbtmc:/dev/usbtmc7", "usbtmc:/dev/usbtmc7?mav=off"},
	} {
		a, errA := Place(c[0])
		b, errB := Place(c[1])
		if a != b || errA != nil || errB != nil {
			t.Errorf("%s is at %q, %v, and %s at %q, %v", c[0], a, errA, c[1], b, errB)
		}
	}
}

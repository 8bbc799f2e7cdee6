package drivers

import "ringup/drivers/link"

// BytesPerSecond returns how many bytes a second the link at an address can
// carry: of a serial port its baud rate over the bits of a byte. It is 0, not
// known, for links whose speed stands nowhere, and for addresses that are none.
func BytesPerSecond(address string) float64 {
	a, err := link.Parse(address)
	if err != nil || a.Kind != link.Serial {
		return 0
	}
	bits := 1 + float64(a.DataBits) // a start bit goes before
	if a.Parity != "none" {
		bits++
	}
	switch a.StopBits {
	case "1.5":
		bits += 1.5
	case "2":
		bits += 2
	default:
		bits++
	}
	return float64(a.Baud) / bits
}

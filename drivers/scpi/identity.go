package scpi

import (
	"fmt"
	"strings"
)

// Identity is a reply to *IDN? (IEEE 488.2 section 10.14): four fields, with
// "0" for a serial number or firmware that the instrument does not know.
type Identity struct{ Maker, Model, Serial, Firmware string }

// String is the identity as the instrument worded it.
func (id Identity) String() string {
	return strings.Join([]string{id.Maker, id.Model, id.Serial, id.Firmware}, ",")
}

// ParseIdentity takes a *IDN? reply apart. Fewer than four fields are an
// error; of more, the rest stays in Firmware and warning says so.
func ParseIdentity(reply string) (id Identity, warning string, err error) {
	fields := strings.SplitN(strings.TrimSpace(reply), ",", 4)
	if len(fields) < 4 {
		return Identity{}, "", fmt.Errorf("%w: %q is no *IDN? reply: it has %d comma-separated fields, four are required (maker, model, serial number, firmware)",
			ErrGarbled, shorten(reply), len(fields))
	}
	for i := range fields {
		fields[i] = strings.TrimSpace(fields[i])
	}
	id = Identity{Maker: fields[0], Model: fields[1], Serial: fields[2], Firmware: fields[3]}
	if id.Maker == "" && id.Model == "" {
		return Identity{}, "", fmt.Errorf("%w: %q is no *IDN? reply: it names neither maker nor model", ErrGarbled, shorten(reply))
	}
	if strings.Contains(id.Firmware, ",") {
		warning = fmt.Sprintf("*IDN? reply %q has more than four fields; the rest was kept as firmware", shorten(reply))
	}
	return id, warning, nil
}

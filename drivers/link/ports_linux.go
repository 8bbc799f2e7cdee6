package link

// Ports lists the serial ports and USB-TMC instruments that the kernel knows
// of. It opens none of them. An instrument on the LAN cannot be listed. There
// is no error on Linux: a part of the kernel's account that is missing means
// that there is nothing of that kind.
func Ports() ([]Port, error) { return thisComputer.portList(), nil }

func (s system) portList() []Port { return append(s.usbtmcPorts(), s.serialPorts()...) }

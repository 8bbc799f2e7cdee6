package link

import "go.bug.st/serial"

// portLock is empty: Windows opens a port for one program only.
type portLock struct{}

func lockPort(string) (portLock, error) { return portLock{}, nil }

func (portLock) release() error { return nil }

// writeNow leaves everything to the port.
func (portLock) writeNow([]byte) int { return 0 }

// wakeWriter has nothing to do: discarding the output ends the write.
func (portLock) wakeWriter() error { return nil }

// hangUpOnClose has nothing to do: Windows switches the lines off.
func (portLock) hangUpOnClose() error { return nil }

func openPort(path string, mode *serial.Mode, _ portLock) (serial.Port, error) {
	return serial.Open(path, mode)
}

func interrupted(error) bool { return false }

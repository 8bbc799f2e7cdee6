//go:build !linux

package link

// addressLock keeps nobody away where the system has no names that go with the
// process.
type addressLock struct{}

func lockAddress(string) (addressLock, error) { return addressLock{}, nil }

func (addressLock) release() error { return nil }

//go:build !linux && !darwin

package simbench

func (p *port) plugPTY() error { return ErrNoPTY }

func (p *port) unlink() error { return nil }

package main

import (
	"os"

	"golang.org/x/sys/windows"
)

// columns is how wide the terminal is at the end of f; 0 if there is none.
func columns(f *os.File) int {
	var info windows.ConsoleScreenBufferInfo
	if err := windows.GetConsoleScreenBufferInfo(windows.Handle(f.Fd()), &info); err != nil {
		return 0
	}
	return int(info.Window.Right-info.Window.Left) + 1
}

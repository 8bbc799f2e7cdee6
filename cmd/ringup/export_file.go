package main

import (
	"fmt"
	"io"
	"os"
)

// writeWhole writes a file whole or not at all: under another name beside it, which becomes the file's own once all of
// it is on disk. What is there already and is no file, such as a pipe, is written to as it is.
func writeWhole(path string, write func(io.Writer) error) error {
	fill := fillWhole
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		fill = fillInPlace
	}
	if err := fill(path, write); err != nil {
		return fmt.Errorf("%s is not written: %w", path, err)
	}
	return nil
}

func fillInPlace(path string, write func(io.Writer) error) error {
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	defer f.Close() // write has seen the errors that there are
	return write(f)
}

func fillWhole(path string, write func(io.Writer) error) (err error) {
	f, err := os.Create(path + ".part")
	if err != nil {
		return err
	}
	defer func() {
		if closeErr := f.Close(); err == nil {
			err = closeErr
		}
		if err == nil {
			err = os.Rename(f.Name(), path)
		}
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	if err := write(f); err != nil {
		return err
	}
	return f.Sync()
}

package scpi

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ringup/drivers/link"
)

// TestCorpora: a fuzz target whose stored inputs have gone would run without
// anybody noticing.
func TestCorpora(t *testing.T) {
	for _, target := range []string{"FuzzParseNumber", "FuzzParseBlock", "FuzzParseIdentity", "FuzzReader"} {
		if files, err := os.ReadDir(filepath.Join("testdata", "fuzz", target)); err != nil || len(files) == 0 {
			t.Errorf("%s has no stored inputs: %v", target, err)
		}
	}
}

// stream is a link on which given bytes arrive, a few at a time, and then the
// other end is gone.
type stream struct {
	data  []byte
	piece int
}

func (s *stream) Read(p []byte, _ time.Time) (int, error) {
	if len(s.data) == 0 {
		return 0, link.ErrGone
	}
	n := copy(p[:min(len(p), s.piece)], s.data)
	s.data = s.data[n:]
	return n, nil
}

func (s *stream) Write([]byte, time.Time) error { return nil }
func (s *stream) Clear() error                  { return nil }
func (s *stream) Close() error                  { return nil }
func (s *stream) String() string                { return "stream" }

// FuzzReader has any bytes arrive where lines and blocks are expected, in pieces
// of any size: what is read must not depend on the pieces, and an error is a
// garbled reply or a lost link.
func FuzzReader(f *testing.F) {
	f.Add([]byte("+3.6\n#15HELLO\nREADY\r\n"), byte(1), "\n")
	f.Add([]byte("OK\r\n3.30\r"), byte(3), "\r")
	f.Fuzz(func(t *testing.T, data []byte, piece byte, terminator string) {
		if terminator != "\r" && terminator != "\r\n" {
			terminator = "\n"
		}
		read := func(piece int) string {
			r := reader{link: &stream{data: bytes.Clone(data), piece: piece}, blankLines: len(data)%2 == 0}
			deadline := time.Now().Add(time.Minute)
			var log strings.Builder
			for turn := 0; ; turn++ {
				var err error
				switch turn % 3 {
				case 0:
					var line string
					line, err = r.line(t.Context(), terminator, deadline)
					fmt.Fprintf(&log, "line %q ", line)
				case 1:
					var block []byte
					block, err = r.block(t.Context(), terminator, time.Minute)
					fmt.Fprintf(&log, "block %q ", block)
				case 2:
					block, err := r.exactly(t.Context(), 1, deadline)
					fmt.Fprintf(&log, "byte %q %v ", block, err)
				}
				if err != nil {
					if !errors.Is(err, ErrGarbled) && !errors.Is(err, link.ErrGone) {
						t.Fatalf("%v", err)
					}
					return log.String()
				}
				if turn > len(data)+3 {
					t.Fatalf("it reads without end: %s", log.String())
				}
			}
		}
		whole, pieces := read(len(data)+1), read(int(piece)%7+1)
		if whole != pieces {
			t.Fatalf("in pieces of %d: %s\nwhole: %s", int(piece)%7+1, pieces, whole)
		}
	})
}

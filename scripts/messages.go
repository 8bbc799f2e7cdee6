package scripts

import (
	"bufio"
	"encoding/json"
	"errors"
	"io"
)

// ChildCommand is the hidden argument that makes the program run [ChildMain]
// instead of its own command line.
const ChildCommand = "script-child"

// maxMessage bounds one line from the child, and the source of a script: 1 MiB.
const maxMessage = 1 << 20

// beginning is the first line from parent to child.
type beginning struct {
	Script         Script  `json:"script"`
	Facts          Facts   `json:"facts"`
	ComputeSeconds float64 `json:"compute_seconds"`
	MemoryBytes    int64   `json:"memory_bytes"`
	CheckOnly      bool    `json:"check_only"`
}

// request is a line from child to parent: ready, a call, or the end.
type request struct {
	Ready     bool            `json:"ready,omitempty"`
	Call      string          `json:"call,omitempty"`
	Arguments json.RawMessage `json:"args,omitempty"`
	Line      int             `json:"line,omitempty"`
	End       *ending         `json:"end,omitempty"`
}

// ending is how the script ended; an empty Message is success.
type ending struct {
	Line    int    `json:"line,omitempty"`
	Message string `json:"message,omitempty"`
	Kind    string `json:"kind,omitempty"` // of the host's error that ended it
	Trace   string `json:"trace,omitempty"`
}

// reply is a line from parent to child, the answer to a call.
type reply struct {
	Result json.RawMessage `json:"result,omitempty"`
	Error  *refusal        `json:"error,omitempty"`
}

type refusal struct {
	Kind    string `json:"kind"`
	Message string `json:"message"`
}

// send writes one message as one line.
func send(w io.Writer, message any) error {
	line, err := json.Marshal(message)
	if err != nil {
		return err
	}
	_, err = w.Write(append(line, '\n'))
	return err
}

var errTooLong = errors.New("sent a message of more than 1 MiB")

// receive reads one line of at most longest bytes into message.
func receive(r *bufio.Reader, longest int, message any) error {
	var line []byte
	for {
		part, err := r.ReadSlice('\n')
		line = append(line, part...)
		if len(line) > longest {
			return errTooLong
		}
		if errors.Is(err, bufio.ErrBufferFull) {
			continue
		}
		if err != nil {
			return err
		}
		return json.Unmarshal(line, message)
	}
}

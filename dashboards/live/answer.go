package live

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"

	"ringup/runner/logbook"
)

// largestBody bounds what a command may send; scripts are a few kilobytes.
const largestBody = 1 << 20

func writeJSON(w http.ResponseWriter, code int, v any) {
	text, err := json.Marshal(v)
	if err != nil {
		writeError(w, http.StatusInternalServerError, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(code)
	_, _ = w.Write(append(text, '\n')) // a client that has gone away needs no answer
}

func writeText(w http.ResponseWriter, code int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(code)
	_, _ = io.WriteString(w, text+"\n")
}

// writeError answers {"error": …}.
func writeError(w http.ResponseWriter, code int, err error) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(code)
	_ = json.NewEncoder(w).Encode(map[string]string{"error": err.Error()})
}

// readJSON reads a command's body strictly; what is wrong with it is in the error.
func readJSON(w http.ResponseWriter, r *http.Request, into any) error {
	decoder := json.NewDecoder(http.MaxBytesReader(w, r.Body, largestBody))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(into); err != nil {
		return fmt.Errorf("the body is not the JSON object this command takes: %w", err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return errors.New("the body has more than one JSON value")
	}
	return nil
}

// bookError answers a failed read of the logbook.
func bookError(w http.ResponseWriter, err error) {
	if errors.Is(err, logbook.ErrNoRun) {
		writeError(w, http.StatusNotFound, err)
		return
	}
	writeError(w, http.StatusInternalServerError, err)
}

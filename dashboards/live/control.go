package live

import (
	"context"
	"errors"
	"net/http"
	"strings"

	"ringup/drivers"
)

// Controller carries out what a person commands. Its errors go to that person as they are.
type Controller interface {
	// Submit takes a script to be run, and returns its run's number, or 0 if the run has not begun yet.
	Submit(ctx context.Context, name, script string) (run int64, err error)
	// Stop ends the current run, supply off.
	Stop(ctx context.Context) error
	// Hold holds the current run, supply off, as soon as no cycle is energised.
	Hold(ctx context.Context, why string) error
	// Resume lets a run go on that is held for a person.
	Resume(ctx context.Context) error
	// Mark notes a text in the current run; a treatment is what is done to the unit from now on.
	Mark(ctx context.Context, text string, treatment bool) error
	// Answer answers the question for which the current run is held.
	Answer(ctx context.Context, text string) error
	// Messages are the last messages to and from each instrument, by role, oldest first, of the current run or of the
	// last one in this process.
	Messages() map[string][]drivers.Message
	// Ready says whether the bench can take or go on with a run, and if not, why.
	Ready() (ready bool, why string)
}

// What a Controller's error can be, besides a fault.
var (
	ErrBusy      = errors.New("a run is going on; stop it first or wait for its end")
	ErrNoRun     = errors.New("no run is going on")
	ErrNotAsked  = errors.New("the run asks nothing")
	ErrNotNow    = errors.New("not now")                 // a hold of a held run, or the going on of one that is not
	ErrBadScript = errors.New("the script is not sound") // wrapped by what says where
)

func (s *Server) postRun(w http.ResponseWriter, r *http.Request) {
	var body struct{ Name, Script string }
	if !s.readCommand(w, r, &body) {
		return
	}
	if strings.TrimSpace(body.Script) == "" || strings.TrimSpace(body.Name) == "" {
		writeError(w, http.StatusBadRequest, errors.New("\"script\" is the script's text and \"name\" its file name; both are needed"))
		return
	}
	run, err := s.options.Controller.Submit(r.Context(), body.Name, body.Script)
	if err != nil {
		commandError(w, err)
		return
	}
	writeJSON(w, http.StatusAccepted, map[string]int64{"run": run})
}

func (s *Server) postStop(w http.ResponseWriter, r *http.Request) {
	if s.options.Controller == nil {
		noController(w)
		return
	}
	done(w, s.options.Controller.Stop(r.Context()))
}

func (s *Server) postHold(w http.ResponseWriter, r *http.Request) {
	var body struct{ Reason string }
	if !s.readCommand(w, r, &body) {
		return
	}
	done(w, s.options.Controller.Hold(r.Context(), strings.TrimSpace(body.Reason)))
}

func (s *Server) postResume(w http.ResponseWriter, r *http.Request) {
	if s.options.Controller == nil {
		noController(w)
		return
	}
	done(w, s.options.Controller.Resume(r.Context()))
}

func (s *Server) postMark(w http.ResponseWriter, r *http.Request) {
	var body struct {
		Text      string
		Treatment bool
	}
	if !s.readCommand(w, r, &body) {
		return
	}
	text := strings.TrimSpace(body.Text)
	if text == "" {
		writeError(w, http.StatusBadRequest, errors.New("\"text\" is empty; say what happened or what was done to the unit"))
		return
	}
	done(w, s.options.Controller.Mark(r.Context(), text, body.Treatment))
}

func (s *Server) postAnswer(w http.ResponseWriter, r *http.Request) {
	var body struct{ Text string }
	if !s.readCommand(w, r, &body) {
		return
	}
	done(w, s.options.Controller.Answer(r.Context(), strings.TrimSpace(body.Text)))
}

// readCommand reads a command's body; if it returns false it has answered already.
func (s *Server) readCommand(w http.ResponseWriter, r *http.Request, into any) bool {
	if s.options.Controller == nil {
		noController(w)
		return false
	}
	if err := readJSON(w, r, into); err != nil {
		writeError(w, http.StatusBadRequest, err)
		return false
	}
	return true
}

func noController(w http.ResponseWriter) {
	writeError(w, http.StatusNotImplemented, errors.New("this process only shows; commands are taken by the process that runs the bench"))
}

func done(w http.ResponseWriter, err error) {
	if err != nil {
		commandError(w, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

func commandError(w http.ResponseWriter, err error) {
	code := http.StatusInternalServerError
	switch {
	case errors.Is(err, ErrBusy), errors.Is(err, ErrNoRun), errors.Is(err, ErrNotAsked), errors.Is(err, ErrNotNow):
		code = http.StatusConflict
	case errors.Is(err, ErrBadScript):
		code = http.StatusUnprocessableEntity
	}
	writeError(w, code, err)
}

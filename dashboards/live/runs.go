package live

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"

	"ringup/runner/logbook"
)

const (
	defaultPage = 100
	longestPage = 1000
)

// runOf finds the run that a request names by number or as "last"; if it returns false it has answered already.
func (s *Server) runOf(w http.ResponseWriter, r *http.Request) (logbook.Run, bool) {
	name := r.PathValue("id")
	var run logbook.Run
	var err error
	if name == "last" {
		run, err = s.options.Book.LastRun()
	} else {
		id, parseErr := strconv.ParseInt(name, 10, 64)
		if parseErr != nil {
			writeError(w, http.StatusBadRequest, fmt.Errorf("run %q is neither a number nor \"last\"", name))
			return run, false
		}
		run, err = s.options.Book.Run(id)
	}
	if err != nil {
		bookError(w, err)
		return run, false
	}
	return run, true
}

func (s *Server) getRuns(w http.ResponseWriter, _ *http.Request) {
	runs, err := s.options.Book.Runs()
	if err != nil {
		bookError(w, err)
		return
	}
	if runs == nil {
		runs = []logbook.Run{}
	}
	for i := range runs {
		runs[i].ScriptText, runs[i].BenchText = "", ""
	}
	writeJSON(w, http.StatusOK, map[string]any{"runs": runs})
}

func (s *Server) getRun(w http.ResponseWriter, r *http.Request) {
	run, found := s.runOf(w, r)
	if !found {
		return
	}
	progress, _, err := tally(s.options.Book, run)
	if err != nil {
		bookError(w, err)
		return
	}
	writeJSON(w, http.StatusOK, map[string]any{"run": run, "progress": progress})
}

// getCycles answers one page of cycles; "next_after" is null on the last one.
func (s *Server) getCycles(w http.ResponseWriter, r *http.Request) {
	after, err := number(r, "after", 0, 0, 1<<31-1)
	if err != nil {
		writeError(w, http.StatusBadRequest, err)
		return
	}
	limit, err := number(r, "limit", defaultPage, 1, longestPage)
	if err != nil {
		writeError(w, http.StatusBadRequest, err)
		return
	}
	run, found := s.runOf(w, r)
	if !found {
		return
	}
	cycles, err := s.options.Book.Cycles(run.ID, after, limit)
	if err != nil {
		bookError(w, err)
		return
	}
	var next *int
	if len(cycles) == limit {
		next = &cycles[limit-1].Number
	}
	if cycles == nil {
		cycles = []logbook.Cycle{}
	}
	writeJSON(w, http.StatusOK, map[string]any{"cycles": cycles, "next_after": next})
}

func number(r *http.Request, name string, otherwise, least, most int) (int, error) {
	text := r.URL.Query().Get(name)
	if text == "" {
		return otherwise, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < least || n > most {
		return 0, fmt.Errorf("%s=%q: want a whole number from %d to %d", name, text, least, most)
	}
	return n, nil
}

func (s *Server) getMarks(w http.ResponseWriter, r *http.Request) {
	run, found := s.runOf(w, r)
	if !found {
		return
	}
	marks, err := s.options.Book.Marks(run.ID)
	if err != nil {
		bookError(w, err)
		return
	}
	if marks == nil {
		marks = []logbook.Mark{}
	}
	writeJSON(w, http.StatusOK, map[string]any{"marks": marks})
}

func (s *Server) getExport(w http.ResponseWriter, r *http.Request) {
	var export func(io.Writer, int64) error
	var kind string
	format := r.URL.Query().Get("format")
	switch format {
	case "csv":
		export, kind = s.options.Book.ExportCSV, "text/csv; charset=utf-8"
	case "jsonl":
		export, kind = s.options.Book.ExportJSONLines, "application/jsonl"
	case "parquet":
		export, kind = s.options.Book.ExportParquet, "application/vnd.apache.parquet"
	default:
		writeError(w, http.StatusBadRequest, fmt.Errorf("format=%q: want csv, jsonl or parquet", format))
		return
	}
	run, found := s.runOf(w, r)
	if !found {
		return
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Disposition", fmt.Sprintf(`attachment; filename="ringup-run-%d.%s"`, run.ID, format))
	if err := export(w, run.ID); err != nil {
		// The status line is gone already; a broken connection tells the client that the file is not whole.
		panic(http.ErrAbortHandler)
	}
}

// getReport writes the report into memory first, so that a fault in it is an answer and not half a page.
func (s *Server) getReport(w http.ResponseWriter, r *http.Request) {
	if s.options.Report == nil {
		writeError(w, http.StatusNotImplemented, errors.New("this process writes no reports; use: ringup report RUN"))
		return
	}
	run, found := s.runOf(w, r)
	if !found {
		return
	}
	var page bytes.Buffer
	if err := s.options.Report(&page, run.ID); err != nil {
		bookError(w, err)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Content-Security-Policy", reportPolicy)
	_, _ = w.Write(page.Bytes())
}

// reportPolicy lets the report use the style and pictures inside it, and nothing from anywhere.
const reportPolicy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; frame-ancestors 'none'"

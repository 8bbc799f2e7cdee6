package live

import (
	"bytes"
	"html/template"
	"maps"
	"net/http"
	"slices"

	"ringup/drivers"
)

var debugPage = template.Must(template.New("debug.html").Funcs(template.FuncMap{
	"clock": func(m drivers.Message) string { return m.At.Format("15:04:05.000") },
}).ParseFS(files, "page/debug.html"))

// conversation is one instrument's part of the debug page, the newest message first.
type conversation struct {
	Role     string
	State    Instrument
	Messages []drivers.Message
}

// debug shows the last messages to and from each instrument. It reads memory and asks no instrument.
func (s *Server) debug(w http.ResponseWriter, _ *http.Request) {
	var all map[string][]drivers.Message
	if s.options.Controller != nil {
		all = s.options.Controller.Messages()
	}
	now := s.currentStatus()
	var shown []conversation
	for _, role := range slices.Sorted(maps.Keys(all)) {
		messages := slices.Clone(all[role])
		slices.Reverse(messages)
		shown = append(shown, conversation{role, now.Instruments[role], messages})
	}
	var page bytes.Buffer
	err := debugPage.Execute(&page, struct {
		Status        Status
		Conversations []conversation
	}{now, shown})
	if err != nil {
		writeError(w, http.StatusInternalServerError, err)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = w.Write(page.Bytes())
}

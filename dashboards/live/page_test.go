package live

import (
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"testing"
)

func read(t *testing.T, name string) string {
	t.Helper()
	text, err := files.ReadFile("page/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestPageLoadsNothingFromElsewhere since a bench has no internet, and what is done on it is nobody else's business.
func TestPageLoadsNothingFromElsewhere(t *testing.T) {
	foreign := regexp.MustCompile(`https?:|["'(]//|@import`)
	for _, name := range []string{"page.html", "page.css", "page.js", "debug.html"} {
		if found := foreign.FindString(read(t, name)); found != "" {
			t.Errorf("%s contains %q", name, found)
		}
	}
}

// TestScriptFindsItsElements holds page and script together: every id the script uses is in the page, once.
func TestScriptFindsItsElements(t *testing.T) {
	page, script := read(t, "page.html"), read(t, "page.js")
	uses := regexp.MustCompile(`(?:\$|show|say|onSubmit)\("([a-z-]+)"`).FindAllStringSubmatch(script, -1)
	if len(uses) < 30 {
		t.Fatalf("found %d uses of ids; has the script's form changed?", len(uses))
	}
	for _, use := range uses {
		if n := strings.Count(page, `id="`+use[1]+`"`); n != 1 {
			t.Errorf("id %q is in the page %d times, want once", use[1], n)
		}
	}
}

func TestOpenAPIDescribesEveryRoute(t *testing.T) {
	s := newBench(t).serve(Options{})
	var document struct {
		OpenAPI string
		Paths   map[string]map[string]struct {
			Summary   string
			Responses map[string]struct{ Description string }
			Security  []any
		}
	}
	if err := json.Unmarshal(ask(s, "GET", "/api/v1/openapi.json", "").Body.Bytes(), &document); err != nil {
		t.Fatal(err)
	}
	var want, got []string
	for _, r := range s.routes() {
		want = append(want, r.method+" "+strings.TrimSuffix(r.path, "{$}"))
	}
	for path, operations := range document.Paths {
		for method, o := range operations {
			got = append(got, strings.ToUpper(method)+" "+path)
			if o.Summary == "" || len(o.Responses) == 0 {
				t.Errorf("%s %s has no summary or no responses", method, path)
			}
			if (method == "post") != (len(o.Security) > 0) {
				t.Errorf("%s %s: what changes something wants the token, what reads does not; the document says otherwise", method, path)
			}
		}
	}
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("the document describes\n%s\nthe server answers\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

package grafana_test

import (
	"encoding/json"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"ringup/dashboards/prometheus/promcheck"
	"ringup/runner/verdict"
)

type source struct{ Type, UID string }

type panel struct {
	ID          int
	Type, Title string
	Description string
	Datasource  *source
	GridPos     struct{ X, Y, W, H int }
	Targets     []struct {
		RefID, Expr, LegendFormat string
		Datasource                *source
		Instant, Range            bool
	}
	FieldConfig struct {
		Defaults struct {
			Unit       string
			Thresholds struct{ Steps []any }
		}
		Overrides []struct{ Matcher struct{ Options string } }
	}
	Options struct {
		Legend        *struct{ DisplayMode, Placement string }
		Tooltip       *struct{ Mode string }
		ReduceOptions *struct{ Calcs []string }
	}
}

type board struct {
	ID            *int
	UID, Title    string
	SchemaVersion int
	Panels        []panel
	Annotations   struct {
		List []struct {
			Name, Expr, Step, TextFormat string
			Enable                       bool
			Datasource                   *source
			Target                       struct{ RefID, Expr, Interval string }
		}
	}
	Links []struct {
		Title, Type, URL, Tooltip string
	}
	Templating struct {
		List []struct {
			Name, Type, Query string
			Datasource        *source
		}
	}
}

func readBoard(t *testing.T) board {
	t.Helper()
	text, err := os.ReadFile(boardFile)
	if err != nil {
		t.Fatal(err)
	}
	var b board
	if err := json.Unmarshal(text, &b); err != nil {
		t.Fatal(err)
	}
	if len(b.Panels) < 10 {
		t.Fatalf("board has %d panels; has its form changed?", len(b.Panels))
	}
	return b
}

func TestBoardIdentity(t *testing.T) {
	b := readBoard(t)
	if b.UID != "ringup-soak-tonight" || b.Title != "Soak tonight" {
		t.Errorf("uid %q, title %q: links to the board break if they change", b.UID, b.Title)
	}
	if b.ID != nil {
		t.Error("the board has a numeric id; ids belong to one Grafana's database")
	}
	if b.SchemaVersion < 36 {
		t.Errorf("schemaVersion %d is older than data source references", b.SchemaVersion)
	}
}

func TestPanelIDsAreUniqueAndNotZero(t *testing.T) {
	seen := map[int]string{}
	for _, p := range readBoard(t).Panels {
		if p.ID <= 0 || seen[p.ID] != "" {
			t.Errorf("panel %q has id %d, which is zero or that of %q", p.Title, p.ID, seen[p.ID])
		}
		seen[p.ID] = p.Title
	}
}

func TestRefIDsAreUniqueInAPanel(t *testing.T) {
	for _, p := range readBoard(t).Panels {
		seen := map[string]bool{}
		for _, target := range p.Targets {
			if target.RefID == "" || seen[target.RefID] {
				t.Errorf("panel %q: refId %q is empty or used twice", p.Title, target.RefID)
			}
			seen[target.RefID] = true
		}
	}
}

func TestEverySourceIsTheVariable(t *testing.T) {
	b := readBoard(t)
	check := func(what string, s *source) {
		if s == nil || s.UID != "${DS}" || s.Type != "prometheus" {
			t.Errorf("%s: data source is %+v, want the variable ${DS}", what, s)
		}
	}
	declared := false
	for _, v := range b.Templating.List {
		if v.Type == "datasource" {
			declared = declared || v.Name == "DS" && v.Query == "prometheus"
			continue
		}
		check("variable "+v.Name, v.Datasource)
	}
	if !declared {
		t.Error("no variable DS of type datasource")
	}
	for _, a := range b.Annotations.List {
		check("annotation "+a.Name, a.Datasource)
	}
	for _, p := range b.Panels {
		if p.Type == "row" {
			continue
		}
		check("panel "+p.Title, p.Datasource)
		for _, target := range p.Targets {
			check("panel "+p.Title+" query "+target.RefID, target.Datasource)
		}
	}
}

var window = regexp.MustCompile(`\b(rate|irate|increase|delta|changes)\(`)

func TestRatesUseTheRateInterval(t *testing.T) {
	rates := 0
	for _, p := range readBoard(t).Panels {
		for _, target := range p.Targets {
			n := len(window.FindAllString(target.Expr, -1))
			rates += n
			if n != strings.Count(target.Expr, "[$__rate_interval]") {
				t.Errorf("panel %q: a rate without [$__rate_interval] in %s", p.Title, target.Expr)
			}
		}
	}
	if rates == 0 {
		t.Error("no rate found at all; has the form of the queries changed?")
	}
}

func TestPanelsHaveUnitTitleAndHelp(t *testing.T) {
	for _, p := range readBoard(t).Panels {
		if p.Title == "" {
			t.Errorf("panel %d has no title", p.ID)
		}
		if p.Type == "row" {
			continue
		}
		if p.FieldConfig.Defaults.Unit == "" || p.Description == "" || len(p.FieldConfig.Defaults.Thresholds.Steps) == 0 {
			t.Errorf("panel %q lacks a unit, a description or thresholds", p.Title)
		}
		for _, target := range p.Targets {
			if target.LegendFormat == "" {
				t.Errorf("panel %q query %s has no legend", p.Title, target.RefID)
			}
		}
	}
}

func TestWhatTheBuilderLeavesEmptyIsSet(t *testing.T) {
	for _, p := range readBoard(t).Panels {
		o := p.Options
		switch p.Type {
		case "row":
		case "timeseries":
			if o.Legend == nil || o.Legend.DisplayMode == "" || o.Legend.Placement == "" || o.Tooltip == nil || o.Tooltip.Mode == "" {
				t.Errorf("panel %q: legend %+v, tooltip %+v", p.Title, o.Legend, o.Tooltip)
			}
		case "stat":
			if o.ReduceOptions == nil || len(o.ReduceOptions.Calcs) == 0 {
				t.Errorf("panel %q has no reduction, so it shows nothing", p.Title)
			}
		default:
			t.Errorf("panel %q is a %s; say here what such a panel must have set", p.Title, p.Type)
		}
		for _, target := range p.Targets {
			if target.Instant == target.Range {
				t.Errorf("panel %q query %s is neither or both of instant and range", p.Title, target.RefID)
			}
		}
	}
}

func TestPanelsStayOnTheGridAndApart(t *testing.T) {
	panels := readBoard(t).Panels
	for i, a := range panels {
		g := a.GridPos
		if g.W <= 0 || g.H <= 0 || g.X < 0 || g.X+g.W > 24 {
			t.Errorf("panel %q at %+v leaves the 24 columns", a.Title, g)
		}
		for _, b := range panels[:i] {
			h := b.GridPos
			if g.X < h.X+h.W && h.X < g.X+g.W && g.Y < h.Y+h.H && h.Y < g.Y+g.H {
				t.Errorf("panels %q and %q overlap", a.Title, b.Title)
			}
		}
	}
}

// histogramPart is what the series of a classic histogram have behind its name.
var histogramPart = regexp.MustCompile(`_(bucket|sum|count)$`)

func TestEveryMetricExists(t *testing.T) {
	known := map[string]bool{}
	names, err := os.ReadFile("../metrics/testdata/names.txt")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range strings.Fields(string(names)) {
		known[name] = true
	}
	rules, err := promcheck.RuleQueries("../prometheus/rules.yml")
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rules {
		known[r.Name] = true
	}
	for _, p := range readBoard(t).Panels {
		for _, target := range p.Targets {
			selectors := promcheck.Selectors(target.Expr)
			if len(selectors) == 0 {
				t.Errorf("panel %q reads no metric of ours: %s", p.Title, target.Expr)
			}
			for _, s := range selectors {
				name, _, _ := strings.Cut(s, "{")
				if !known[name] && !known[histogramPart.ReplaceAllString(name, "")] {
					t.Errorf("panel %q reads %s, which nothing exports", p.Title, name)
				}
			}
		}
	}
}

// TestEveryMetricIsShown, on a panel or through a rule, so that none is exported for nobody.
func TestEveryMetricIsShown(t *testing.T) {
	var shown strings.Builder
	for _, file := range []string{boardFile, "../prometheus/rules.yml", "../prometheus/alerts.yml"} {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		shown.Write(text)
	}
	names, err := os.ReadFile("../metrics/testdata/names.txt")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range strings.Fields(string(names)) {
		if name == "ringup_bench_clock_timestamp_seconds" {
			continue // for people with a simulated bench
		}
		if !regexp.MustCompile(`\b` + name + `(_bucket|_sum|_count)?\b`).MatchString(shown.String()) {
			t.Errorf("%s is on no panel and in no rule", name)
		}
	}
}

// TestAnnotations: Grafana reads the query from one of two places, depending on its version.
func TestAnnotations(t *testing.T) {
	b := readBoard(t)
	if len(b.Annotations.List) != 3 {
		t.Fatalf("%d annotations, want three", len(b.Annotations.List))
	}
	for _, a := range b.Annotations.List {
		if a.Expr == "" || a.Expr != a.Target.Expr || a.Step == "" || a.Step != a.Target.Interval || a.Target.RefID == "" || !a.Enable || a.TextFormat == "" {
			t.Errorf("annotation %+v: want the same query and step twice, a text, and that it is on", a)
		}
		for _, s := range promcheck.Selectors(a.Expr) {
			if !strings.Contains(s, `instance=~"$bench"`) {
				t.Errorf("annotation %q reads %s of all benches at once", a.Name, s)
			}
		}
	}
}

func TestEveryVerdictHasItsColor(t *testing.T) {
	for _, p := range readBoard(t).Panels {
		if p.Title != "Cycles per hour by verdict" {
			continue
		}
		var named []string
		for _, o := range p.FieldConfig.Overrides {
			named = append(named, o.Matcher.Options)
		}
		for _, v := range verdict.Verdicts {
			if !slices.Contains(named, string(v)) {
				t.Errorf("the verdict %q has no colour of its own", v)
			}
		}
		return
	}
	t.Error("no panel shows cycles by verdict")
}

func TestLinks(t *testing.T) {
	for _, l := range readBoard(t).Links {
		if l.Type == "link" && l.URL == "http://${bench}/" && l.Tooltip != "" {
			return
		}
	}
	t.Error("no link leads to the bench's own page")
}

func TestEveryQueryIsOfTheChosenBench(t *testing.T) {
	for _, p := range readBoard(t).Panels {
		for _, target := range p.Targets {
			for _, s := range promcheck.Selectors(target.Expr) {
				if !strings.Contains(s, `instance=~"$bench"`) {
					t.Errorf("panel %q reads %s of all benches at once", p.Title, s)
				}
			}
		}
	}
}

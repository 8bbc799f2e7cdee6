package main

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
)

// soakTonight is the board: what the run shows, then what the unit, the bench and the instruments do.
func soakTonight() (dashboard.Dashboard, error) {
	b := dashboard.NewDashboardBuilder("Soak tonight").
		Uid("ringup-soak-tonight").
		Description("One run on one bench: how often the unit fails to start at each supply voltage, how sure that is, and whether the bench itself is well.").
		Tags([]string{"ringup"}).
		Timezone("browser").
		Time("now-12h", "now").
		Refresh("30s").
		Tooltip(dashboard.DashboardCursorSyncCrosshair).
		Readonly()
	for _, v := range variables() {
		b.WithVariable(v)
	}
	for _, a := range annotations() {
		b.Annotation(a)
	}
	b.Link(dashboard.NewDashboardLinkBuilder("The bench's own page").Type(dashboard.DashboardLinkTypeLink).Icon("external link").
		Tooltip("State, question, waveforms and report; a bench that serves TLS wants https").Url("http://${bench}/").TargetBlank(true))
	var layout layout
	for _, section := range sections() {
		b.WithRow(layout.row(section.title))
		for _, p := range section.panels {
			b.WithPanel(layout.panel(p))
		}
	}
	board, err := b.Build()
	// The library hides both in a menu, where nobody looks at night.
	for i := range board.Links {
		board.Links[i].Placement = nil
	}
	for i := range board.Annotations.List {
		board.Annotations.List[i].Placement = nil
	}
	return board, err
}

type section struct {
	title  string
	panels []panel
}

func sections() []section {
	return []section{
		{"The run", headline()},
		{"Failure rate", failure()},
		{"The clock's start", clock()},
		{"The bench", bench()},
		{"Instruments and logbook", instruments()},
	}
}

// variables choose the bench and run; every query names them, so that two benches never mix on one board. The newest
// run comes first. DS is a variable and not a fixed name, since file provisioning fills no other placeholder.
func variables() []cog.Builder[dashboard.VariableModel] {
	return []cog.Builder[dashboard.VariableModel]{
		dashboard.NewDatasourceVariableBuilder("DS").Label("Prometheus").Type("prometheus"),
		query("bench", "Bench", `label_values(ringup_build_info, instance)`, dashboard.VariableSortNaturalAsc),
		query("run", "Run", `label_values(ringup_run_info{instance=~"$bench"}, run)`, dashboard.VariableSortNumericalDesc),
		query("treatment", "Treatment", `label_values(ringup_cycles_total{instance=~"$bench", run=~"$run"}, treatment)`, dashboard.VariableSortDisabled),
		query("volts", "Volts", `label_values(ringup_cycles_total{instance=~"$bench", run=~"$run"}, volts)`, dashboard.VariableSortNumericalDesc).
			Multi(true).IncludeAll(true).
			Current(dashboard.VariableOption{
				Text:  dashboard.StringOrArrayOfString{ArrayOfString: []string{"All"}},
				Value: dashboard.StringOrArrayOfString{ArrayOfString: []string{"$__all"}},
			}),
	}
}

// annotations lay over every graph what was done meanwhile. Metrics carry no texts of marks, so a mark is only a moment;
// the bench's page says which.
func annotations() []cog.Builder[dashboard.AnnotationQuery] {
	return []cog.Builder[dashboard.AnnotationQuery]{
		annotation("Held", "orange", `ringup_hold`+onBench, "held", "{{reason}}"),
		annotation("Treatment", "blue", `ringup_run_info{instance=~"$bench", run=~"$run", treatment!=""} unless ringup_run_info`+ofRun+` offset `+annotationStep, "treatment", "{{treatment}}"),
		annotation("Mark", "purple", `increase(ringup_marks_total`+onBench+`[`+annotationStep+`])`, "mark", "see the bench's page"),
	}
}

// annotationStep is how far apart Grafana asks for annotations; what is true at several steps in a row is one band.
const annotationStep = "1m"

// annotation has its query twice, since older Grafanas read the one outside target and newer ones that within.
func annotation(name, color, expr, title, text string) *dashboard.AnnotationQueryBuilder {
	return dashboard.NewAnnotationQueryBuilder().
		Name(name).IconColor(color).Enable(true).Datasource(source()).
		Target(prometheus.NewDataqueryBuilder().RefId("Anno").Expr(expr).Interval(annotationStep).Range()).
		Expr(expr).Step(annotationStep).TitleFormat(title).TextFormat(text)
}

func query(name, label, definition string, sort dashboard.VariableSort) *dashboard.QueryVariableBuilder {
	return dashboard.NewQueryVariableBuilder(name).
		Label(label).
		Datasource(source()).
		Query(dashboard.StringOrMap{String: &definition}).
		Definition(definition).
		Refresh(dashboard.VariableRefreshOnTimeRangeChanged).
		Sort(sort)
}

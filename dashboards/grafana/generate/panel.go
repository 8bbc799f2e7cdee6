package main

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// panel is one panel before it has a place. Legend, tooltip and reduction are set by every builder below: left out,
// the library writes them as empty, which Grafana shows as "no legend" and "no value".
type panel struct {
	width, height uint32
	build         func(id uint32, at dashboard.GridPos) cog.Builder[dashboard.Panel]
}

// target is one query of a panel with the name its series carry.
type target struct{ expr, legend string }

// unit is a Grafana unit id.
const (
	ratio   = "percentunit"
	seconds = "s"
	volts   = "volt"
	amperes = "amp"
	hertz   = "hertz"
	celsius = "celsius"
	octets  = "bytes"
	moment  = "dateTimeAsLocal"
	count   = "none"
)

// number is a stat panel: the latest value, large.
func number(title, help, unit string, adjust func(*stat.PanelBuilder), targets ...target) panel {
	return panel{4, 4, func(id uint32, at dashboard.GridPos) cog.Builder[dashboard.Panel] {
		b := stat.NewPanelBuilder().
			Id(id).GridPos(at).Title(title).Description(help).Datasource(source()).Unit(unit).
			NoValue("–").
			GraphMode(common.BigValueGraphModeNone).
			ColorMode(common.BigValueColorModeValue).
			JustifyMode(common.BigValueJustifyModeAuto).
			TextMode(common.BigValueTextModeAuto).
			Orientation(common.VizOrientationAuto).
			ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"lastNotNull"}).Fields("").Values(false)).
			Thresholds(plain())
		for i, t := range targets {
			b.WithTarget(dataquery(i, t).Instant())
		}
		if adjust != nil {
			adjust(b)
		}
		return b
	}}
}

// graph is a time series panel.
func graph(width uint32, title, help, unit string, adjust func(*timeseries.PanelBuilder), targets ...target) panel {
	return panel{width, 8, func(id uint32, at dashboard.GridPos) cog.Builder[dashboard.Panel] {
		b := timeseries.NewPanelBuilder().
			Id(id).GridPos(at).Title(title).Description(help).Datasource(source()).Unit(unit).
			LineWidth(1.5).FillOpacity(0).ShowPoints(common.VisibilityModeNever).
			Legend(common.NewVizLegendOptionsBuilder().
				DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom).
				ShowLegend(true).Calcs([]string{"lastNotNull"})).
			Tooltip(common.NewVizTooltipOptionsBuilder().
				Mode(common.TooltipDisplayModeMulti).Sort(common.SortOrderDescending)).
			Thresholds(plain())
		for i, t := range targets {
			b.WithTarget(dataquery(i, t).Range())
		}
		if adjust != nil {
			adjust(b)
		}
		return b
	}}
}

func dataquery(i int, t target) *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().
		Datasource(source()).
		RefId(string(rune('A' + i))).
		Expr(t.expr).
		LegendFormat(t.legend).
		EditorMode(prometheus.QueryEditorModeCode)
}

// plain is a single threshold step: one colour, no alarm.
func plain() cog.Builder[dashboard.ThresholdsConfig] {
	return steps(dashboard.Threshold{Color: "text"})
}

func steps(s ...dashboard.Threshold) cog.Builder[dashboard.ThresholdsConfig] {
	return dashboard.NewThresholdsConfigBuilder().Mode(dashboard.ThresholdsModeAbsolute).Steps(s)
}

func above(value float64, color string) dashboard.Threshold {
	return dashboard.Threshold{Value: &value, Color: color}
}

// words shows numbers as words, for values that are states.
func words(of map[string]string) []dashboard.ValueMapping {
	options := map[string]dashboard.ValueMappingResult{}
	for value, text := range of {
		options[value] = dashboard.ValueMappingResult{Text: cog.ToPtr(text)}
	}
	return []dashboard.ValueMapping{{ValueMap: &dashboard.ValueMap{Type: "value", Options: options}}}
}

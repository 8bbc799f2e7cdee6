package main

import (
	"html/template"
	"io"
	"path/filepath"

	"ringup/dashboards/plot"
	"ringup/runner/verdict"
)

// galleryCard is one record of the page.
type galleryCard struct {
	Chart    template.HTML
	Comment  string // what the file says of itself
	Warnings []string
}

// galleryGroup are the records with one verdict.
type galleryGroup struct {
	Verdict verdict.Verdict
	Counts  string // as success, as failure, not
	Cards   []galleryCard
}

// writeGallery writes one page with the charts of all records, by verdict.
func writeGallery(w io.Writer, all []*judged) error {
	const chartWidth = 560
	var groups []galleryGroup
	for _, v := range verdict.Verdicts {
		g := galleryGroup{Verdict: v, Counts: "counts as a failure"}
		if !v.Failed() {
			g.Counts = "counts as a success"
		}
		if !v.Counted() {
			g.Counts = "not counted"
		}
		for _, j := range all {
			if j.Verdict != v {
				continue
			}
			chart := j.chart(chartWidth)
			chart.Title = filepath.Base(chart.Title)
			// Package plot escapes every text it puts into a chart.
			g.Cards = append(g.Cards, galleryCard{template.HTML(chart.SVG()), j.file.Notes.Get("comment"), j.notes})
		}
		if len(g.Cards) > 0 {
			groups = append(groups, g)
		}
	}
	return galleryPage.Execute(w, struct {
		CSS    template.CSS
		Total  int
		Groups []galleryGroup
	}{template.CSS(plot.CSS), len(all), groups})
}

var galleryPage = template.Must(template.New("gallery").Parse(`<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>ringup: {{.Total}} judged records</title>
<style>
{{.CSS}}
:root { color-scheme: light dark; }
body { margin: 24px auto; max-width: 1220px; padding: 0 16px; font: 15px/1.45 system-ui, "Liberation Sans", sans-serif; color: #1b1f24; background: #f2f4f6; }
h1 { font-size: 22px; margin: 0 0 8px; } h2 { font-size: 18px; margin: 32px 0 10px; } h2 small { font-weight: 400; color: #59616a; }
nav a { margin-right: 14px; color: inherit; }
.cards { display: grid; grid-template-columns: repeat(auto-fill, minmax(min(560px, 100%), 1fr)); gap: 16px; align-items: start; }
figure { margin: 0; padding: 6px 6px 10px; background: #fff; border: 1px solid #d5dae0; border-radius: 6px; break-inside: avoid; }
figcaption { padding: 4px 12px 0; font-size: 13px; } ul { margin: 4px 0 0; padding-left: 18px; color: #7a4b00; }
@media screen and (prefers-color-scheme: dark) {
  body { color: #dfe3e8; background: #0c0e11; } figure { background: #14171b; border-color: #333a42; } h2 small { color: #9aa3ad; } ul { color: #e0b13a; }
}
</style></head><body>
<h1>{{.Total}} judged records</h1>
<nav>{{range .Groups}}<a href="#{{.Verdict}}">{{.Verdict}} {{len .Cards}}</a>{{end}}</nav>
{{range .Groups}}<h2 id="{{.Verdict}}">{{.Verdict}} <small>{{len .Cards}}, {{.Counts}}</small></h2>
<div class="cards">
{{range .Cards}}<figure>{{.Chart}}<figcaption>{{.Comment}}{{with .Warnings}}<ul>{{range .}}<li>{{.}}</li>{{end}}</ul>{{end}}</figcaption></figure>
{{end}}</div>
{{end}}</body></html>
`))

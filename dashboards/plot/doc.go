// Package plot draws the charts of the page and the report as SVG: the failure
// rate against voltage, the failure rate through the night, waveform envelopes
// side by side, verdict counts, and curves over a value that can be chosen.
//
// A chart is a struct; its SVG method gives one well-formed <svg> element with a
// title and a description for those who cannot see it. It needs no script, no
// font and no other file, and takes the text colour of what surrounds it. Series
// differ in marker shape as well as in colour. Colours are variables: include CSS
// once in the document, and set the variables there to change them; without it a
// chart has the colours for a light ground.
//
// Quantities are in SI units, rates are fractions of 1, and NaN is what is not
// there: it is left out.
package plot

// CSS is the style sheet of the charts, with colours for light and dark grounds.
// Print is always light.
const CSS = LightCSS + darkCSS

// LightCSS is CSS for a document that stays light.
const LightCSS = `.plot { max-width: 100%; height: auto; font-family: system-ui, "Liberation Sans", sans-serif; font-size: 12px; font-variant-numeric: tabular-nums;
  --plot-1: #1f5fa8; --plot-2: #b4510c; --plot-3: #0c7a69; --plot-4: #8a3f8f; --plot-5: #67641a; --plot-6: #4c4f56;
  --plot-started: #6fa3d2; --plot-late: #e0b13a; --plot-silent: #94291d; --plot-weak: #df7a3a; --plot-off-frequency: #74479b;
  --plot-dropped-out: #cc6f95; --plot-unpowered: #8d949b; --plot-unread: #c6cbd0; --plot-ground: #fff; }
.plot-grid { stroke: currentColor; stroke-opacity: .14; }
.plot-axis { stroke: currentColor; stroke-opacity: .6; }
.plot-limit { stroke: currentColor; stroke-opacity: .75; stroke-dasharray: 5 3; }
.plot-ground { fill: var(--plot-ground); }
` + seriesCSS

const darkCSS = `@media screen and (prefers-color-scheme: dark) { .plot {
  --plot-1: #82b4f0; --plot-2: #f0a463; --plot-3: #58c9b5; --plot-4: #d896dd; --plot-5: #cfc864; --plot-6: #c3c7ce;
  --plot-started: #5b92c4; --plot-late: #e0b13a; --plot-silent: #d0563f; --plot-weak: #e8904f; --plot-off-frequency: #a67fce;
  --plot-dropped-out: #d98aab; --plot-unpowered: #7d848b; --plot-unread: #a9afb5; --plot-ground: #14171b; } }
`

// The classes that take the variables up. A style attribute would need a content
// security policy to allow it; a class does not.
const seriesCSS = `.plot-1 { color: var(--plot-1); } .plot-2 { color: var(--plot-2); } .plot-3 { color: var(--plot-3); }
.plot-4 { color: var(--plot-4); } .plot-5 { color: var(--plot-5); } .plot-6 { color: var(--plot-6); }
.plot-started { color: var(--plot-started); } .plot-late { color: var(--plot-late); } .plot-silent { color: var(--plot-silent); }
.plot-weak { color: var(--plot-weak); } .plot-off-frequency { color: var(--plot-off-frequency); } .plot-dropped-out { color: var(--plot-dropped-out); }
.plot-unpowered { color: var(--plot-unpowered); } .plot-unread { color: var(--plot-unread); }
`

// palette holds the colours for a light ground, for a chart without CSS. Within
// the series neighbours differ in lightness as well as in hue, and the failures
// among the verdicts are warm where the starts are cool, so both survive the
// common colour deficiencies and a black-and-white printer.
var palette = map[string]string{
	"1": "#1f5fa8", "2": "#b4510c", "3": "#0c7a69", "4": "#8a3f8f", "5": "#67641a", "6": "#4c4f56",
	"started": "#6fa3d2", "late": "#e0b13a", "silent": "#94291d", "weak": "#df7a3a", "off-frequency": "#74479b",
	"dropped-out": "#cc6f95", "unpowered": "#8d949b", "unread": "#c6cbd0",
}

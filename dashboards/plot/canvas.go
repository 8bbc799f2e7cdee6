package plot

import (
	"encoding/xml"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// canvas collects the elements of one SVG.
type canvas struct {
	out           strings.Builder
	width, height float64
}

// newCanvas opens the picture. Title is its name and description its content in
// words, for those who cannot see it.
func newCanvas(width, height float64, title, description string) *canvas {
	c := &canvas{width: width, height: height}
	c.printf(`<svg xmlns="http://www.w3.org/2000/svg" class="plot" viewBox="0 0 %s %s" width="%[1]s" height="%[2]s" role="img" font-family="sans-serif" font-size="12">`,
		px(width), px(height))
	c.printf("<title>%s</title><desc>%s</desc>\n", escape(title), escape(description))
	return c
}

func (c *canvas) close() string {
	c.out.WriteString("</svg>")
	return c.out.String()
}

func (c *canvas) printf(format string, arguments ...any) { fmt.Fprintf(&c.out, format, arguments...) }

func (c *canvas) line(class string, x1, y1, x2, y2 float64) {
	c.printf(`<line class="%s" x1="%s" y1="%s" x2="%s" y2="%s" stroke="currentColor"/>`+"\n", class, px(x1), px(y1), px(x2), px(y2))
}

// grid draws a line that is to stay in the background also without CSS.
func (c *canvas) grid(x1, y1, x2, y2 float64) {
	c.printf(`<line class="plot-grid" x1="%s" y1="%s" x2="%s" y2="%s" stroke="currentColor" stroke-opacity=".14"/>`+"\n", px(x1), px(y1), px(x2), px(y2))
}

// limit draws a dashed line.
func (c *canvas) limit(x1, y1, x2, y2 float64) {
	c.printf(`<line class="plot-limit" x1="%s" y1="%s" x2="%s" y2="%s" stroke="currentColor" stroke-dasharray="5 3"/>`+"\n", px(x1), px(y1), px(x2), px(y2))
}

// The horizontal anchors of a text.
const (
	start  = "start"
	middle = "middle"
	end    = "end"
)

func (c *canvas) text(anchor string, x, y float64, text string) {
	c.printf(`<text x="%s" y="%s" text-anchor="%s" fill="currentColor">%s</text>`+"\n", px(x), px(y), anchor, escape(text))
}

func (c *canvas) bold(anchor string, x, y float64, text string) {
	c.printf(`<text x="%s" y="%s" text-anchor="%s" fill="currentColor" font-weight="600">%s</text>`+"\n", px(x), px(y), anchor, escape(text))
}

// group opens a group in the colour of that name; a tip shows under the pointer.
func (c *canvas) group(colour, tip string) {
	c.printf(`<g class="plot-%s" color="%s">`, colour, palette[colour])
	if tip != "" {
		c.printf("<title>%s</title>", escape(tip))
	}
	c.out.WriteByte('\n')
}

func (c *canvas) ungroup() { c.out.WriteString("</g>\n") }

// px words a length to a hundredth of a pixel.
func px(v float64) string {
	return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
}

// escape makes any text fit for XML; what XML cannot hold becomes U+FFFD.
func escape(text string) string {
	var out strings.Builder
	// A strings.Builder takes every write.
	_ = xml.EscapeText(&out, []byte(text))
	return out.String()
}

// textWidth estimates how wide a text is at 12 px, on the wide side: the font is
// the reader's.
func textWidth(text string) float64 {
	width := 0.0
	for _, r := range text {
		switch {
		case strings.ContainsRune("iljtfrI.,:;'|!()[] ", r):
			width += 4.2
		case r >= 'A' && r <= 'Z', r == 'm', r == 'w', r == '%', r > 0x2000:
			width += 10.5
		default:
			width += 7
		}
	}
	return width
}

// clip shortens a text to a width, saying so with an ellipsis.
func clip(text string, width float64) string {
	if textWidth(text) <= width {
		return text
	}
	runes := []rune(text)
	for len(runes) > 0 && textWidth(string(runes)+"…") > width {
		runes = runes[:len(runes)-1]
	}
	return strings.TrimRight(string(runes), " ") + "…"
}

// wrap breaks a text at blanks into at most lines lines of a width.
func wrap(text string, width float64, lines int) []string {
	var done []string
	line := ""
	words := strings.Fields(text)
	for i, word := range words {
		longer := strings.TrimSpace(line + " " + word)
		if line == "" || textWidth(longer) <= width {
			line = longer
			continue
		}
		if len(done) == lines-1 {
			return append(done, clip(line+" "+strings.Join(words[i:], " "), width))
		}
		done = append(done, clip(line, width))
		line = word
	}
	return append(done, clip(line, width))
}

package main

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

const gridWidth = 24 // columns of a Grafana board

// layout hands out panel ids from 1 (0 is not valid) and places panels left to right, then down.
type layout struct {
	lastID  uint32
	x, y    uint32
	tallest uint32 // of the line being filled
}

func (l *layout) id() uint32 {
	l.lastID++
	return l.lastID
}

func (l *layout) newLine() {
	l.y += l.tallest
	l.x, l.tallest = 0, 0
}

func (l *layout) row(title string) *dashboard.RowBuilder {
	l.newLine()
	at := dashboard.GridPos{X: 0, Y: l.y, W: gridWidth, H: 1}
	l.y++
	return dashboard.NewRowBuilder(title).Id(l.id()).GridPos(at)
}

func (l *layout) panel(p panel) cog.Builder[dashboard.Panel] {
	if l.x+p.width > gridWidth {
		l.newLine()
	}
	at := dashboard.GridPos{X: l.x, Y: l.y, W: p.width, H: p.height}
	l.x += p.width
	l.tallest = max(l.tallest, p.height)
	return p.build(l.id(), at)
}

// source is the data source every panel and variable reads: the one chosen at the top of the board.
func source() common.DataSourceRef {
	return common.DataSourceRef{Type: cog.ToPtr("prometheus"), Uid: cog.ToPtr("${DS}")}
}

//go:build linux

package usbguest_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ringup/drivers/link/internal/usbguest"
)

func TestMain(m *testing.M) { usbguest.Main(m) }

// TestGuest boots the guest, in which all tests whose names begin with
// TestInside run.
func TestGuest(t *testing.T) {
	const root = "../../../.."
	write := os.Getenv("RINGUP_WRITE") == "1"
	table := filepath.Join(root, "testdata", matrixTable)
	var files []string
	for _, name := range dialectFiles {
		files = append(files, filepath.Join(root, "drivers/dialect/files", name))
	}
	if _, err := os.Stat(table); err == nil || !write {
		files = append(files, table)
	}
	log := usbguest.Run(t, "TestInside", files...)
	if !write {
		return
	}
	var text strings.Builder
	for line := range strings.Lines(log) {
		if row, found := strings.CutPrefix(line, tableMark); found {
			text.WriteString(row)
		}
	}
	if err := os.WriteFile(table, []byte(text.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

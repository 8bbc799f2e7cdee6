package main

import (
	"fmt"

	"ringup/drivers/dialect"
)

// dialectReport is what check --dialect --json prints.
type dialectReport struct {
	File          string            `json:"file"`
	Kind          dialect.Kind      `json:"kind"`
	Name          string            `json:"name"`
	Guide         string            `json:"guide"`
	HardwareTried string            `json:"hardware_tried"`
	Operations    []operationReport `json:"operations"`
}

// operationReport is one operation with the messages that it would send for example settings.
type operationReport struct {
	Name     string             `json:"name"`
	Missing  bool               `json:"missing,omitempty"` // instruments of this kind can do without
	Settings map[string]float64 `json:"settings,omitempty"`
	Messages []string           `json:"messages,omitempty"`
}

// checkDialect checks a dialect file and lists what it would send. It touches no instrument.
func checkDialect(s streams, o options, file string) error {
	d, err := dialect.Validate(file)
	if err != nil {
		return usage{err}
	}
	examples, err := d.Describe()
	if err != nil {
		return usage{err}
	}
	if o.json {
		r := dialectReport{File: file, Kind: d.Kind, Name: d.Name, Guide: d.Guide, HardwareTried: d.HardwareTried}
		for _, e := range examples {
			r.Operations = append(r.Operations, operationReport{e.Operation, e.Missing, e.Settings, e.Messages})
		}
		return printJSON(s.out, r)
	}
	fmt.Fprintf(s.out, "pass   %s: %s dialect %q\n       words from %s\n       tried on hardware: %s\n\nIt would send, for example:\n",
		file, d.Kind, d.Name, d.Guide, d.HardwareTried)
	for _, e := range examples {
		fmt.Fprintf(s.out, "  %v\n", e)
	}
	return nil
}

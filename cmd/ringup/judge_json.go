package main

import "io"

// judgedObject is a judged file for programs; null is what was not measured.
type judgedObject struct {
	File      string   `json:"file"`
	Verdict   string   `json:"verdict"`
	Start     *float64 `json:"start_seconds"`
	Frequency *float64 `json:"frequency_hz"`
	// FrequencySD is one standard deviation.
	FrequencySD *float64 `json:"frequency_sd"`
	Amplitude   *float64 `json:"amplitude_v"`
	Growth      *float64 `json:"growth_seconds"`
	Dropout     *float64 `json:"dropout_seconds"`
	Warnings    []string `json:"warnings"`
}

func (j *judged) object() judgedObject {
	o := judgedObject{
		File: j.file.Name, Verdict: string(j.Verdict), Start: finite(j.StartSeconds), Frequency: finite(j.FrequencyHertz),
		FrequencySD: finite(j.SD.FrequencyHertz), Amplitude: finite(j.AmplitudeVolts), Growth: finite(j.GrowthSeconds),
		Dropout: finite(j.DropoutSeconds), Warnings: j.notes,
	}
	if o.Warnings == nil {
		o.Warnings = []string{}
	}
	return o
}

// printJudgedJSON writes one object for one file, an array for several.
func printJudgedJSON(w io.Writer, all []*judged, one bool) error {
	if one {
		return printJSON(w, all[0].object())
	}
	objects := make([]judgedObject, 0, len(all))
	for _, j := range all {
		objects = append(objects, j.object())
	}
	return printJSON(w, objects)
}

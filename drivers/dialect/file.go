package dialect

import (
	"bytes"
	"cmp"
	"errors"
	"slices"

	"github.com/pelletier/go-toml/v2"
)

// file is the layout of a dialect file.
type file struct {
	Kind          string                   `toml:"kind"`
	Name          string                   `toml:"name"`
	Identity      string                   `toml:"identity"`
	Guide         string                   `toml:"guide"`
	HardwareTried string                   `toml:"hardware_tried"`
	MostPoints    *int                     `toml:"most_points"`
	MostRate      *float64                 `toml:"most_samples_per_second"`
	Session       fileSession              `toml:"session"`
	Operations    map[string]fileOperation `toml:"operations"`
}

type fileSession struct {
	Send            string `toml:"send"`
	Receive         string `toml:"receive"`
	Join            string `toml:"join"`
	LongestMessage  int    `toml:"longest_message"`
	Pause           string `toml:"pause"`
	TimeOut         string `toml:"time_out"`
	Acknowledgement string `toml:"acknowledgement"`
	Refusal         string `toml:"refusal"`
	Echo            bool   `toml:"echo"`
	Errors          string `toml:"errors"`
	Identify        string `toml:"identify"`
	Unterminated    bool   `toml:"unterminated"`
	Silence         string `toml:"silence"`
	BlankLines      bool   `toml:"blank_lines"`
}

type fileOperation struct {
	Steps    []fileStep    `toml:"steps"`
	Optional bool          `toml:"optional"`
	Fields   []string      `toml:"fields"`
	Meaning  []fileMeaning `toml:"meaning"`
	// Values are expressions over fields, named replies and settings.
	Values       map[string]string `toml:"values"`
	Sample       string            `toml:"sample"`
	ChunkSamples int               `toml:"chunk_samples"`
}

type fileStep struct {
	Send          *string `toml:"send"`
	Ask           *string `toml:"ask"`
	Reply         string  `toml:"reply"`
	Prefix        string  `toml:"prefix"`
	Mask          uint64  `toml:"mask"`
	As            string  `toml:"as"`
	Verify        string  `toml:"verify"`
	Within        float64 `toml:"within"`
	WithinPercent float64 `toml:"within_percent"`
}

type fileMeaning struct {
	Bits   *uint64 `toml:"bits"`
	Clear  *uint64 `toml:"clear"`
	Equals *string `toml:"equals"`
	Means  string  `toml:"means"`
}

// Parse reads a dialect file; name is used in errors. All mistakes are reported
// together, each as a *FileError.
func Parse(name string, text []byte) (*Dialect, error) {
	var f file
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf")) // some editors begin a file with this mark of UTF-8
	decoder := toml.NewDecoder(bytes.NewReader(text)).DisallowUnknownFields()
	if err := decoder.Decode(&f); err != nil {
		return nil, decodeErrors(name, err)
	}
	c := checker{name: name, at: positions(text)}
	d := c.dialect(f)
	if len(c.mistakes) == 0 {
		return d, nil
	}
	slices.SortStableFunc(c.mistakes, func(a, b *FileError) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column), cmp.Compare(a.Key, b.Key))
	})
	var errs []error
	for _, m := range c.mistakes {
		errs = append(errs, m)
	}
	return nil, errors.Join(errs...)
}

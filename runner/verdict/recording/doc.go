// Package recording reads waveforms from files into the evidence of package
// verdict: the CSV layouts that scopes write to a stick, and raw samples under
// a JSON header. A file is read in one pass and never held as text, so that ten
// million rows need no more memory than their samples.
//
// # CSV
//
// Separators are comma, semicolon, tab or blanks; the decimal sign is a point or
// a comma; lines end in LF, CRLF or CR; a byte-order mark, quotes, a trailing
// separator and gzip are taken as they come. Before the rows may stand any
// number of header lines: "key,value[,unit]", "key: value", "# key: value", a
// row of names, a row of units; keys may also stand beside the first rows.
//
// Time comes from a column of its own, or from an interval or a rate in the
// header, with an index or without. A time column holds for the columns to its
// right up to the next one, so records of several time bases fit in one file;
// the shorter ones end in empty cells. Steps must be even. A jump of a whole
// number of steps, and an empty cell, are samples that were never taken.
//
// Peak-detect records are two columns (names that end in min and max) or two
// rows of the same time.
//
// # Raw samples
//
// A JSON object, then a line feed and the samples; or the object alone, naming
// the file of samples (relative to its own folder) under "samples":
//
//	{
//	  "format": "u8",              // u8 i8 u16le u16be i16le i16be f32le f32be
//	  "start_seconds": -0.004,     // of the first sample; 0 is the trigger
//	  "step_seconds": 1e-7,        // between two samples of one channel
//	  "order": "interleaved",      // or "sequential": one channel after the other
//	  "peak_detect": false,        // true: lowest and highest alternate
//	  "channels": [{
//	    "name": "clock",
//	    "volts_per_code": 0.02,    // volts = (code - zero_code) * volts_per_code
//	    "zero_code": 128,
//	    "low_code": 0,             // limits of the converter; both left out: not known
//	    "high_code": 255
//	  }],
//	  "notes": {"supply": "set_volts=3.3"} // as in "# key: value" lines
//	}
//
// # Tables
//
// What ringup itself writes has no time column but tables, each begun by a
// remark; a column that ends early, or has a hole, holds empty cells:
//
//	# supply: set_volts=3.6 volts=3.6 amps=0.0041
//	# limits: rail_fraction=0.5 clock_hertz=7372800 start_within_seconds=0.065
//	# record: envelope start_seconds=-0.0064 step_seconds=0.000108
//	# channel: rail zero_v=-1.28 code_v=0.02
//	rail_min_v,rail_max_v,clock_min_v,clock_max_v
//	0.00,0.02,-0.04,0.04
//	# record: steady start_seconds=0 step_seconds=1e-08
//	clock_v
//	1.64
//
// Tables are envelope, steady and lamp. Code 0 of a channel's converter is
// zero_v, a code is worth code_v; codes (256 unless said) are how many it has.
// "supply" and "limits" may head any text file; [File.Expect] lists their keys.
package recording

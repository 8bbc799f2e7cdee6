package dialect

// wanted is what an operation of a kind of instrument takes and gives.
type wanted struct {
	required bool
	settings []string
	reply    ReplyType // "" for none
	verify   string    // the setting that must be read back
	fields   []string  // values that a list must name
	state    bool      // the reply must be given a meaning
	samples  bool      // the block holds samples, which may be fetched in chunks
}

// operations lists what each kind of instrument is asked to do. Settings are in
// SI units. A supply's settings include the number of its output, "channel", and
// a switch's the number of its contact. wake is sent before the instrument is
// asked who it is, for one that must be addressed first; its dialect has to be
// named in the bench file.
var operations = map[Kind]map[string]wanted{
	Supply: {
		"wake":           {},
		"prepare":        {settings: []string{"channel"}},
		"select_channel": {settings: []string{"channel"}},
		"set_volts":      {required: true, settings: []string{"channel", "volts"}, verify: "volts"},
		"set_amps":       {required: true, settings: []string{"channel", "amps"}, verify: "amps"},
		"set_protection": {settings: []string{"channel", "volts", "amps", "on"}},
		"output_on":      {required: true, settings: []string{"channel", "on"}, verify: "on"},
		"output_off":     {required: true, settings: []string{"channel", "on"}, verify: "on"},
		"read_output":    {required: true, settings: []string{"channel"}, reply: BooleanReply},
		"read_volts":     {required: true, settings: []string{"channel"}, reply: NumberReply},
		"read_amps":      {required: true, settings: []string{"channel"}, reply: NumberReply},
	},
	Scope: {
		"wake":    {},
		"prepare": {},
		// The window of a channel, in volts at the probe's tip, is given by its
		// ends as well as by its height and middle.
		"channel": {required: true, settings: []string{"channel", "attenuation", "low_volts", "high_volts", "range_volts", "centre_volts", "ac"}},
		// A scope that cannot peak-detect has no detector operation.
		"detector": {settings: []string{"peak"}},
		// A record starts start_seconds after the trigger; before it is negative.
		"sweep":       {required: true, settings: []string{"start_seconds", "window_seconds", "points"}},
		"trigger":     {required: true, settings: []string{"channel", "level_volts"}},
		"trigger_now": {required: true},
		"start":       {required: true},
		"stop":        {required: true},
		"state":       {required: true, state: true},
		"preamble":    {required: true, settings: []string{"channel"}, reply: NumbersReply, fields: PreambleFields},
		// The samples of a record are counted from 1; a scope that gives a few
		// at a time is asked for first_sample to last_sample, chunk_samples of
		// them, until it has given all.
		"data": {required: true, settings: []string{"channel", "samples", "first_sample", "last_sample", "chunk_samples"}, reply: BlockReply, samples: true},
		// The scope's own measurements, for looking over a probe.
		"measure_frequency":    {settings: []string{"channel"}, reply: NumberReply},
		"measure_peak_to_peak": {settings: []string{"channel"}, reply: NumberReply},
	},
	// A switch is a relay in the supply's lead. The setting "closed" is 1 for
	// close and 0 for open, for the state to be compared with.
	Switch: {
		"wake":    {},
		"prepare": {settings: []string{"channel"}},
		"close":   {required: true, settings: []string{"channel", "closed"}, verify: "closed"},
		"open":    {required: true, settings: []string{"channel", "closed"}, verify: "closed"},
		"closed":  {required: true, settings: []string{"channel"}, reply: BooleanReply},
	},
	Thermometer: {
		"wake":    {},
		"prepare": {},
		"read":    {required: true, reply: NumberReply},
	},
}

// PreambleFields are the values that say how a record's codes become volts:
// volts = (code - code_zero) * volts_per_code + offset_volts, sample i at
// start_seconds + i * step_seconds after the trigger. The converter's codes run
// from low_code to high_code. detector is 0 for samples, 1 for peak-detect,
// where data holds the minimum and the maximum of each point in turn. valid is
// 1 if there is a record.
var PreambleFields = []string{
	"points", "start_seconds", "step_seconds", "volts_per_code", "code_zero",
	"offset_volts", "low_code", "high_code", "detector", "valid",
}

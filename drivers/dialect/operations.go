package dialect

// wanted is what an operation of a kind of instrument takes and gives.
type wanted struct {
	required bool
	settings []string
	reply    ReplyType // "" for none
	verify   string    // the setting that must be read back
	fields   []string  // values that a list must name
	state    bool      // the reply must be given a meaning
}

// operations lists what each kind of instrument is asked to do. Settings are in
// SI units. A supply's settings include the number of its output, "channel".
var operations = map[Kind]map[string]wanted{
	Supply: {
		"prepare":        {settings: []string{"channel"}},
		"select_channel": {settings: []string{"channel"}},
		"set_volts":      {required: true, settings: []string{"channel", "volts"}, verify: "volts"},
		"set_amps":       {required: true, settings: []string{"channel", "amps"}, verify: "amps"},
		"set_protection": {settings: []string{"channel", "volts", "amps"}},
		"output_on":      {required: true, settings: []string{"channel", "on"}, verify: "on"},
		"output_off":     {required: true, settings: []string{"channel", "on"}, verify: "on"},
		"read_output":    {required: true, settings: []string{"channel"}, reply: BooleanReply},
		"read_volts":     {required: true, settings: []string{"channel"}, reply: NumberReply},
		"read_amps":      {required: true, settings: []string{"channel"}, reply: NumberReply},
	},
	Scope: {
		"prepare": {},
		// The window of a channel, in volts at the probe's tip, is given by its
		// ends as well as by its height and middle.
		"channel":  {required: true, settings: []string{"channel", "attenuation", "low_volts", "high_volts", "range_volts", "centre_volts", "ac"}},
		"detector": {required: true, settings: []string{"peak"}},
		// A record starts start_seconds after the trigger; before it is negative.
		"sweep":       {required: true, settings: []string{"start_seconds", "window_seconds", "points"}},
		"trigger":     {required: true, settings: []string{"channel", "level_volts"}},
		"trigger_now": {required: true},
		"start":       {required: true},
		"stop":        {required: true},
		"state":       {required: true, state: true},
		"preamble":    {required: true, settings: []string{"channel"}, reply: NumbersReply, fields: PreambleFields},
		"data":        {required: true, settings: []string{"channel"}, reply: BlockReply},
	},
	Thermometer: {
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

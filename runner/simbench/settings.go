package simbench

import "fmt"

// channelSettings are the vertical settings of one channel.
type channelSettings struct {
	rangeVolts, offsetVolts, attenuation float64
	acCoupled                            bool
}

// scopeSettings are all settings that shape a record.
type scopeSettings struct {
	channels     [scopeChannels]channelSettings
	peak         bool // peak detector instead of samples
	sweepSeconds float64
	points       float64 // a whole number
	startSeconds float64 // where the record starts, relative to the trigger
	source       int     // channel whose rising edge triggers; 0: at once
	levelVolts   float64
}

func (s *scope) defaults() {
	s.scopeSettings = scopeSettings{sweepSeconds: 1e-3, points: 1000}
	for n := range s.channels {
		s.channels[n] = channelSettings{rangeVolts: 8, attenuation: 1}
	}
}

// settingCommands set up the next record; a record already started keeps the settings it was started with.
func (s *scope) settingCommands() []command {
	commands := []command{
		{pattern: "[SENSe]:DETector[:FUNCtion]", parameters: 1,
			set: func(c call) *scpiError {
				n, err := c.word(0, "SAMPle", "PEAK")
				if err == nil {
					s.peak = n == 1
				}
				return err
			},
			query: func(call) ([]byte, *scpiError) {
				return map[bool][]byte{false: []byte("SAMP"), true: []byte("PEAK")}[s.peak], nil
			},
		},
		quantity("[SENSe]:SWEep:TIME", "S", &s.sweepSeconds, 1e-8, sweepMaxSeconds, nil),
		quantity("[SENSe]:SWEep:OFFSet:TIME", "S", &s.startSeconds, -sweepMaxSeconds, sweepMaxSeconds, nil),
		{pattern: "[SENSe]:SWEep:POINts", parameters: 1,
			set: func(c call) *scpiError {
				n, err := c.whole(0, 2, recordDepth)
				if err == nil {
					s.points = float64(n)
				}
				return err
			},
			query: func(call) ([]byte, *scpiError) { return integer(int(s.points)), nil },
		},
		{pattern: "TRIGger[:SEQuence]:SOURce", parameters: 1,
			set: func(c call) *scpiError {
				n, err := c.word(0, "IMMediate", "CH1", "CH2", "CH3")
				if err == nil {
					s.source = n
				}
				return err
			},
			query: func(call) ([]byte, *scpiError) {
				if s.source == 0 {
					return []byte("IMM"), nil
				}
				return fmt.Appendf(nil, "CH%d", s.source), nil
			},
		},
		quantity("TRIGger[:SEQuence]:LEVel", "V", &s.levelVolts, -1000, 1000, nil),
		{pattern: "TRIGger[:SEQuence]:SLOPe", parameters: 1,
			set:   func(c call) *scpiError { _, err := c.word(0, "POSitive"); return err },
			query: func(call) ([]byte, *scpiError) { return []byte("POS"), nil },
		},
	}
	return append(commands,
		s.vertical("[SENSe]:VOLTage<n>[:DC]:RANGe[:UPPer]", "V", 1e-3, 1000,
			func(c *channelSettings) *float64 { return &c.rangeVolts }),
		s.vertical("[SENSe]:VOLTage<n>[:DC]:OFFSet", "V", -1000, 1000,
			func(c *channelSettings) *float64 { return &c.offsetVolts }),
		s.vertical("INPut<n>:ATTenuation", "", 1e-3, 1e4,
			func(c *channelSettings) *float64 { return &c.attenuation }),
		command{pattern: "INPut<n>:COUPling", parameters: 1,
			set: func(c call) *scpiError {
				channel, err := s.channel(c.suffix)
				if err != nil {
					return err
				}
				n, err := c.word(0, "AC", "DC")
				if err == nil {
					channel.acCoupled = n == 0
				}
				return err
			},
			query: func(c call) ([]byte, *scpiError) {
				channel, err := s.channel(c.suffix)
				if err != nil {
					return nil, err
				}
				return map[bool][]byte{false: []byte("DC"), true: []byte("AC")}[channel.acCoupled], nil
			},
		})
}

// channel finds the settings that a header suffix names.
func (s *scope) channel(n int) (*channelSettings, *scpiError) {
	if n < 1 || n > scopeChannels {
		return nil, errorf(-114, "channel %d, allowed 1 to %d", n, scopeChannels)
	}
	return &s.channels[n-1], nil
}

// vertical is a command that sets and queries one number of a channel.
func (s *scope) vertical(pattern, unit string, low, high float64, of func(*channelSettings) *float64) command {
	return command{pattern: pattern, parameters: 1,
		set: func(c call) *scpiError {
			channel, err := s.channel(c.suffix)
			if err != nil {
				return err
			}
			v, err := c.number(0, unit, low, high)
			if err == nil {
				*of(channel) = v
			}
			return err
		},
		query: func(c call) ([]byte, *scpiError) {
			channel, err := s.channel(c.suffix)
			if err != nil {
				return nil, err
			}
			return real(*of(channel)), nil
		},
	}
}

package wire

import "lidwright/kiln/message"

// Now is what all kilns do at this moment.
type Now struct {
	Items []KilnNow `json:"items"`
}

// KilnNow is what one kiln does at this moment, by its recorder.
type KilnNow struct {
	Kiln                string           `json:"kiln"`
	State               string           `json:"state" enum:"no_reading,cold,soaking,cooling,heating,holding,warm"`
	Hot                 bool             `json:"hot" doc:"The last good reading was over 60 °C, or one that is held aside is"`
	TemperatureC        *float64         `json:"temperature_c" doc:"null unless fresh"`
	LastTemperatureC    *float64         `json:"last_temperature_c"`
	RateCPerH           *float64         `json:"rate_c_per_h"`
	ReadAt              *string          `json:"read_at"`
	ReadAgeS            *int64           `json:"read_age_s"`
	Fresh               bool             `json:"fresh"`
	ClockTrusted        bool             `json:"clock_trusted"`
	Channels            []ChannelNow     `json:"channels"`
	Probe               string           `json:"probe" doc:"The channel that speaks: temperature, rate, peak and heat work are of it"`
	ProbeSince          *string          `json:"probe_since" doc:"Since when it speaks in the place of the control probe, which is broken; null while that speaks itself"`
	HeldC               *float64         `json:"held_c" doc:"The hottest reading that is held aside, because no kiln can have jumped to it: it may be false. null while there is none"`
	HeldSince           *string          `json:"held_since"`
	HeldSays            message.Message  `json:"held_says" doc:"The same in words, and what to do"`
	Firing              *string          `json:"firing"`
	FiringName          *string          `json:"firing_name"`
	Kind                *string          `json:"kind"`
	KindFrom            *string          `json:"kind_from"`
	Hours               *float64         `json:"hours"`
	PeakC               *float64         `json:"peak_c"`
	HeatWorkC           *float64         `json:"heat_work_c"`
	HeatWorkLikelyC     []*float64       `json:"heat_work_likely_c"`
	Cone                *string          `json:"cone"`
	ConeWords           *message.Message `json:"cone_words"`
	ConePosition        *float64         `json:"cone_position"`
	Corrected           *NowWork         `json:"corrected" doc:"The same as the witness cones correct the probe; null where they told nothing of it near this heat"`
	Vent                *string          `json:"vent" doc:"What the contact on its vent says, on or off; null where there is none, or nothing is received from it"`
	LimitC              *float64         `json:"limit_c"`
	OverLimit           bool             `json:"over_limit"`
	KeepShutAboveC      *float64         `json:"keep_shut_above_c"`
	StillHot            bool             `json:"still_hot" doc:"Still hot, or climbing again, long after the end of a firing"`
	BelowKeepShut       bool             `json:"below_keep_shut"`
	BelowKeepShutAt     *string          `json:"below_keep_shut_about" doc:"When it is likely to read below it: from the usual firings while it heats, from its fall while it cools; null where nobody can tell. A forecast of a reading, no leave to open"`
	BelowKeepShutLikely []string         `json:"below_keep_shut_likely" doc:"Two times of the clock, 90 % likely; null where nobody can tell"`
	BelowKeepShutSays   message.Message  `json:"below_keep_shut_says" doc:"The same in words while it cools, or that nobody knows"`
	TooSoon             bool             `json:"far_sooner_than_usual" doc:"It reads below it far sooner than this kiln ever cooled: the probe may be wrong, look before you open"`
	PeakAt              *string          `json:"peak_about" doc:"While it heats, when its usual firings say that it is at its peak; null where nobody can tell"`
	AheadMin            *float64         `json:"ahead_of_usual_min" doc:"Minutes ahead of its usual firings at this temperature, negative behind them; null where nobody can tell"`
	AheadSays           message.Message  `json:"ahead_says" doc:"The same in words"`
	HeatWorkProvisional bool             `json:"provisional" doc:"The heat work may still grow"`
	Stopped             *Stopped         `json:"stopped" doc:"Its firing whose record a person ended, while that can be taken back; null else"`
	Waits               message.Message  `json:"waits" doc:"What the line waits for, in words; empty while it is received"`
	Unwritten           message.Message  `json:"unwritten" doc:"Why readings wait in memory instead of being written; empty if all is well"`
}

// Stopped is a firing whose record a person ended and which can go on again.
type Stopped struct {
	Firing    string  `json:"firing"`
	Name      string  `json:"name" example:"big-blue 143"`
	Load      string  `json:"load" doc:"The load whose unpacking ended it; empty if it was stopped"`
	At        *string `json:"at"`
	UndoUntil *string `json:"undo_until"`
}

// NowWork is the heat work of an open firing with what the cones say of the probe.
type NowWork struct {
	Work
	CorrectionC  *float64 `json:"correction_c" doc:"What is added to every reading"`
	CorrectionSD *float64 `json:"correction_sd_c"`
}

// ChannelNow is what one channel reads at this moment.
type ChannelNow struct {
	Channel      string   `json:"channel"`
	Role         string   `json:"role"`
	TemperatureC *float64 `json:"temperature_c"`
	Fresh        bool     `json:"fresh"`
	Fault        string   `json:"fault" doc:"Fault of the newest reading, empty if it was good"`
	HeldC        *float64 `json:"held_c" doc:"A reading that is held aside, because no kiln can have jumped to it; null while there is none"`
	StillSince   *string  `json:"still_since" doc:"Since when it has read the same to the last digit, though it moved before: frozen, or a hold in coarse steps; null else"`
	OffUsualC    *float64 `json:"off_usual_c" doc:"How much hotter it reads than usual beside the control probe, where that is more than 15 °C; null else"`
}

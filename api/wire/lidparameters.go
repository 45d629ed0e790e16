package wire

// LidParams names every parameter of the lid question for the API document. They are read
// by readLid, which knows units and repeats.
type LidParams struct {
	Collar        []string `query:"collar,explode" doc:"Gallery, wall to wall (mouth, neck by seat): 104.5, 104.5mm, 3 3/4 in; up to 3 times, each another direction"`
	CollarMm      []string `query:"collar_mm,explode" doc:"The same as a decimal number in mm"`
	CollarAgain   []string `query:"collar_again,explode" doc:"The first direction read again, up to twice"`
	CollarAgainMm []string `query:"collar_again_mm,explode" doc:"The same in mm, a number with a point alone"`
	Opening       string   `query:"opening" doc:"Ledge opening"`
	OpeningMm     string   `query:"opening_mm" doc:"The same in mm, a number with a point alone"`
	Lid           string   `query:"lid" doc:"With a collar: the gap of this lid. Without: the gallery to throw for it"`
	LidMm         string   `query:"lid_mm" doc:"The same in mm, a number with a point alone"`
	Lids          string   `query:"lids" doc:"1 to 3: largest spread shown"`
	WetCollar     []string `query:"wet_collar,explode" doc:"Of a fired pot: its gallery when it was wet, from its card; up to 3 times"`
	WetCollarMm   []string `query:"wet_collar_mm,explode" doc:"The same in mm, a number with a point alone"`
	Trim          string   `query:"trim" doc:"yes or no: the lid may be trimmed at leather-hard; as on the maker's last pot card if not said"`
	TrimMost      string   `query:"trim_most" doc:"What may come off its rim then, across; 4 mm if not said"`
	TrimMostMm    string   `query:"trim_most_mm" doc:"The same in mm, a number with a point alone"`
	LidNow        string   `query:"lid_now" doc:"A lid at hand, leather-hard, before it is trimmed: what to trim it to"`
	LidNowMm      string   `query:"lid_now_mm" doc:"The same in mm, a number with a point alone"`
	LidWet        string   `query:"lid_wet" doc:"The same lid just thrown"`
	LidWetMm      string   `query:"lid_wet_mm" doc:"The same in mm, a number with a point alone"`
	CollarNow     []string `query:"collar_now,explode" doc:"Its gallery at leather-hard; up to 3 times"`
	CollarNowMm   []string `query:"collar_now_mm,explode" doc:"The same in mm, a number with a point alone"`
	RimChecked    string   `query:"rim_checked" doc:"no: nobody measures and corrects the rim once it is turned out; yes if not said"`
	Try           string   `query:"try" doc:"Another width than the one to set: how likely it is too tight, fits or rattles"`
	TryMm         string   `query:"try_mm" doc:"The same in mm, a number with a point alone"`
	CheckStage    string   `query:"check_stage" doc:"leather, dry, bisque: the gap to expect then"`
	SharedParams
}

// SharedParams are the parameters that a lid and a board of lids are asked with alike.
type SharedParams struct {
	Seat             string `query:"seat" doc:"inset, flange, cap, drop_in, over, stopper; inset if not said"`
	CollarStage      string `query:"collar_stage" doc:"wet, soft, leather, dry, bisque, fired: state of the pot when measured"`
	LidStage         string `query:"lid_stage" doc:"State of the lid clay at the size asked or given"`
	Play             string `query:"play" doc:"Play wanted after firing, across"`
	PlayMm           string `query:"play_mm" doc:"The same in mm, a number with a point alone"`
	LeastPlay        string `query:"least_play" doc:"Least good play, fired; by seat if not said"`
	LeastPlayMm      string `query:"least_play_mm" doc:"The same in mm, a number with a point alone"`
	MostPlay         string `query:"most_play" doc:"Most good play, fired; by seat if not said"`
	MostPlayMm       string `query:"most_play_mm" doc:"The same in mm, a number with a point alone"`
	Bearing          string `query:"bearing" doc:"Least overlap when pushed to one side"`
	BearingMm        string `query:"bearing_mm" doc:"The same in mm, a number with a point alone"`
	SeatGlazed       string `query:"seat_glazed" doc:"yes or no"`
	Glaze            string `query:"glaze" doc:"Glaze on seat and lid edge, across in all"`
	GlazeMm          string `query:"glaze_mm" doc:"The same in mm, a number with a point alone"`
	Clay             string `query:"clay" doc:"Clay of the pot"`
	Batch            string `query:"batch" doc:"Its batch; the newest open one if not said"`
	LidClay          string `query:"lid_clay" doc:"Clay of the lid; as the pot if not said"`
	LidBatch         string `query:"lid_batch" doc:"Its batch"`
	Kind             string `query:"kind" doc:"bisque, glaze, once, other: last firing of the pair"`
	Atmosphere       string `query:"atmosphere" doc:"oxidation, reduction, unknown"`
	HeatWorkC        string `query:"heat_work_c" doc:"Heat work of that firing, 550 to 1400 °C"`
	Cone             string `query:"cone" doc:"The same as a cone: 022 to 14, tenths as 6+0.1"`
	Kiln             string `query:"kiln" doc:"Whose usual firing"`
	Together         string `query:"together" doc:"in_place, same_load, apart"`
	Form             string `query:"form" doc:"Name of the form"`
	Maker            string `query:"maker" doc:"Maker's mark"`
	Companion        string `query:"companion" doc:"Code of a bar measured with the pot"`
	MassWetG         string `query:"mass_wet_g" doc:"Mass of a companion piece when thrown, g"`
	MassNowG         string `query:"mass_now_g" doc:"Mass of the same piece now, g"`
	BodyDryingRatio  string `query:"body_drying_ratio" doc:"Stated rate: 0.06 or 6%; share of the wet length"`
	BodyLeatherRatio string `query:"body_leather_ratio" doc:"Shrink already gone, share of the wet length"`
	BodyBisqueRatio  string `query:"body_bisque_ratio" doc:"Share of the dry length"`
	BodyFiringRatio  string `query:"body_firing_ratio" doc:"Share of the dry length"`
	LidDryingRatio   string `query:"lid_drying_ratio" doc:"The same of the lid, where it differs"`
	LidLeatherRatio  string `query:"lid_leather_ratio" doc:"The same of the lid"`
	LidBisqueRatio   string `query:"lid_bisque_ratio" doc:"The same of the lid"`
	LidFiringRatio   string `query:"lid_firing_ratio" doc:"The same of the lid"`
	DoubtRatio       string `query:"doubt_ratio" doc:"sd of a stated part"`
	MeasureSd        string `query:"measure_sd" doc:"How true one reading is, one sd"`
	MeasureSdMm      string `query:"measure_sd_mm" doc:"The same in mm, a number with a point alone"`
	ThrowSd          string `query:"throw_sd" doc:"How true the part is thrown, one sd"`
	ThrowSdMm        string `query:"throw_sd_mm" doc:"The same in mm, a number with a point alone"`
	Step             string `query:"step" doc:"What the maker can set; 0: do not round"`
	StepMm           string `query:"step_mm" doc:"The same in mm, a number with a point alone"`
	Accept           string `query:"accept" doc:"wide: give a width that would be held back; unusual: answer though a size was asked about; all: both"`
	Unit             string `query:"unit" doc:"mm, cm, in, 32nds: unit of bare lengths"`
}

// BoardParams names every parameter of the board question for the API document.
type BoardParams struct {
	Galleries       string `query:"galleries" doc:"8 to 30 pots, a line each: 104.5; 92.5 (gallery; ledge opening; another way round), a name before a colon if it has one"`
	Gauge           string `query:"gauge" doc:"In place of galleries: the gauge that all pots were thrown to"`
	GaugeMm         string `query:"gauge_mm" doc:"The same in mm, a number with a point alone"`
	GaugeOpening    string `query:"gauge_opening" doc:"Their ledge opening"`
	GaugeOpeningMm  string `query:"gauge_opening_mm" doc:"The same in mm, a number with a point alone"`
	GaugeSpreadSd   string `query:"gauge_spread_sd" doc:"How far the pots differ, one sd; the throwing sd if not said"`
	GaugeSpreadSdMm string `query:"gauge_spread_sd_mm" doc:"The same in mm, a number with a point alone"`
	GaugeCount      string `query:"gauge_count" doc:"How many pots"`
	Lids            string `query:"lids" doc:"How many lids to throw; the fewest that reach wanted_chance if not said"`
	WantedChance    string `query:"wanted_chance" doc:"That every pot gets a lid; 0.90 if not said"`
	SizesMost       string `query:"sizes_most" doc:"1 to 5 sizes; 3 if not said"`
	MeasuredLids    string `query:"measured_lids" doc:"Lids as measured, a line each: 7: 102.3; asks which goes with which pot"`
	MeasuredStage   string `query:"measured_stage" doc:"State of the clay when they were measured; wet if not said"`
	SharedParams
}

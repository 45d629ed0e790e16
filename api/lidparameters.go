package api

import (
	"reflect"
	"strings"

	"lidwright/api/wire"
)

// LidParameters are their names, in order; the command line makes a flag of each.
func LidParameters() []string {
	return []string{
		"seat", "collar", "collar_mm", "collar_again", "collar_again_mm", "opening", "opening_mm", "collar_stage", "lid_stage",
		"lid", "lid_mm", "play", "play_mm", "least_play", "least_play_mm", "most_play", "most_play_mm", "bearing", "bearing_mm",
		"seat_glazed", "glaze", "glaze_mm", "clay", "batch", "lid_clay", "lid_batch", "kind", "atmosphere", "heat_work_c", "cone",
		"kiln", "together", "form", "maker", "companion", "mass_wet_g", "mass_now_g", "body_drying_ratio", "body_leather_ratio",
		"body_bisque_ratio", "body_firing_ratio", "lid_drying_ratio", "lid_leather_ratio", "lid_bisque_ratio", "lid_firing_ratio",
		"doubt_ratio", "measure_sd", "measure_sd_mm", "throw_sd", "throw_sd_mm", "step", "step_mm", "lids", "wet_collar", "wet_collar_mm", "trim", "trim_most",
		"trim_most_mm", "lid_now", "lid_now_mm", "lid_wet", "lid_wet_mm", "collar_now", "collar_now_mm", "rim_checked", "try", "try_mm", "check_stage", "accept",
		"unit",
	}
}

// BoardParameters are the names of a board question that a command line makes flags of.
func BoardParameters() []string {
	var names []string
	for _, f := range reflect.VisibleFields(reflect.TypeFor[wire.BoardParams]()) {
		if n, ok := parameter(f); ok {
			names = append(names, n)
		}
	}
	return names
}

// LidHelp is what the API document says of each parameter of the lid question.
func LidHelp() map[string]string { return help(reflect.TypeFor[wire.LidParams]()) }

// BoardHelp is what the API document says of each parameter of the board question.
func BoardHelp() map[string]string { return help(reflect.TypeFor[wire.BoardParams]()) }

func help(t reflect.Type) map[string]string {
	says := map[string]string{}
	for _, f := range reflect.VisibleFields(t) {
		if n, ok := parameter(f); ok {
			says[n] = f.Tag.Get("doc")
		}
	}
	return says
}

// parameter is the name that a field of a question goes by.
func parameter(f reflect.StructField) (string, bool) {
	n, _, _ := strings.Cut(f.Tag.Get("query"), ",")
	return n, n != ""
}

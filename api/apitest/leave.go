package apitest

import "regexp"

// What reads as leave to open a kiln, or sends somebody to it whatever it does, in the languages that we
// speak. No page, print, command, metric or message says so.
var leave = regexp.MustCompile(`(?i)\b(?:safe to open|(?:may|can) be opened|opens? (?:at|about|below)\b|open and unpack below|unpacking mark|go and look\.)|` +
	`sicher zu öffnen|gefahrlos (?:zu )?öffnen|geöffnet werden (?:darf|kann)|(?:darf|kann) [^.]*geöffnet werden|öffnen (?:bei|ab|unter)\b|ausräummarke|geh hin und sieh nach`)

// LeaveToOpen is what a text has of that, empty where it has none.
func LeaveToOpen(text string) string { return leave.FindString(text) }

package wire

// Site is what whoever follows a record asks first.
type Site struct {
	Site    string `json:"site" doc:"UUID of the record"`
	Life    string `json:"life" doc:"UUIDv7; another one after the record went back to an earlier moment, such as a copy put in its place: numbers of changes then come again for other facts, and whoever follows begins at 0"`
	Name    string `json:"name" doc:"Of the studio, as in the settings"`
	Version string `json:"version" doc:"Of the program"`
	Last    int64  `json:"last_change" doc:"Number of the newest change; 0 if there is none"`
}

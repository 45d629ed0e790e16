package wire

// Copy is one copy of the record.
type Copy struct {
	Name   string `json:"name"`
	Folder string `json:"folder,omitempty" doc:"Where it lies; told by the command on the machine itself alone"`
	At     string `json:"at"`
	Bytes  int64  `json:"bytes"`
	Second bool   `json:"second_place" doc:"It lies in the folder that copy.target names"`
}

// Renewed is what came of taking the marks of forgotten makers out of the copies.
type Renewed struct {
	Renewed int `json:"renewed" doc:"Copies that had the mark of a forgotten maker and have it no more; 0: none had"`
}

// Copies are the copies that are there, the newest first.
type Copies struct {
	Made  *bool  `json:"made,omitempty" doc:"false: the newest has everything"`
	Items []Copy `json:"items"`
}

package wire

type Copy struct {
	Name   string `json:"name"`
	Folder string `json:"folder,omitempty" doc:"Where it lies; told by the command on the machine itself alone"`
	At     string `json:"at"`
	Bytes  int64  `json:"bytes"`
	Second bool   `json:"second_place" doc:"It lies in the folder that copy.target names"`
}

type Renewed struct {
	Renewed int `json:"renewed" doc:"Copies that had the mark of a forgotten maker and have it no more; 0: none had"`
}

type Copies struct {
	Made  *bool  `json:"made,omitempty" doc:"false: the newest has everything"`
	Items []Copy `json:"items"`
}

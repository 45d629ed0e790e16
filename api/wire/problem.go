package wire

import "lidwright/kiln/message"

// Problem is an error as RFC 9457 wants it (problem details).
type Problem struct {
	Type     string          `json:"type" doc:"Path of the page that explains this kind of problem" example:"/problems/out-of-range"`
	Title    message.Message `json:"title" doc:"The kind of problem in words"`
	Status   int             `json:"status" doc:"The HTTP status again"`
	Detail   message.Message `json:"detail,omitzero" doc:"What happened this time and what to do"`
	Instance string          `json:"instance,omitempty" doc:"The path that was asked"`
	Fields   []Field         `json:"fields,omitempty" doc:"The fields at fault"`
	// Reference is given with every 500: there is a line of the log with it.
	Reference string `json:"reference,omitempty" doc:"What the log of the daemon has it under" example:"K7Q2XYDB"`
}

func (p *Problem) Error() string { return p.Title.String() + ": " + p.Detail.String() }

// Field names one field at fault and says what is wrong with it.
type Field struct {
	Name string          `json:"name"`
	Says message.Message `json:"says"`
}

package wire

// List is a part of a list, with where it goes on.
type List[T any] struct {
	Items []T     `json:"items"`
	Next  *string `json:"next" doc:"Ask again with after= this; null at the end"`
}

// FiringPath names a firing by its id, as last, or by kiln and number.
type FiringPath struct {
	ID string `path:"id"`
}

// Curve is the curve of a firing, thinned to steps.
type Curve struct {
	Firing   string         `json:"firing"`
	StepS    int64          `json:"step_s"`
	Channels []ChannelCurve `json:"channels"`
	Gaps     []Gap          `json:"gaps"`
}

// ChannelCurve is the curve of one channel, a row a step.
type ChannelCurve struct {
	Channel string       `json:"channel"`
	Columns []string     `json:"columns"`
	Rows    [][3]float64 `json:"rows"`
}

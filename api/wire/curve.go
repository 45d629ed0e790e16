package wire

type List[T any] struct {
	Items []T     `json:"items"`
	Next  *string `json:"next" doc:"Ask again with after= this; null at the end"`
}

type FiringPath struct {
	ID string `path:"id"`
}

type Curve struct {
	Firing   string         `json:"firing"`
	StepS    int64          `json:"step_s"`
	Channels []ChannelCurve `json:"channels"`
	Gaps     []Gap          `json:"gaps"`
}

type ChannelCurve struct {
	Channel string       `json:"channel"`
	Columns []string     `json:"columns"`
	Rows    [][3]float64 `json:"rows"`
}

package wire

// ProblemField names one field at fault and says what is wrong with it.
type Field struct {
	Name string `json:"name"`
	Says string `json:"says"`
}

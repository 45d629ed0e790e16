package usecase

import "lidwright/api/wire"

// Refusal is what a use case answers where it cannot do what was asked: its kind by name, in words what is
// wrong and what to do, and the fields at fault. Over HTTP it becomes a problem of that kind.
type Refusal struct {
	Kind   string // as "unknown-batch"; the table of problems has a title and a help for each
	Says   string
	Fields []wire.Field
}

func (r *Refusal) Error() string { return r.Says }

func refuse(kind, says string, fields ...wire.Field) *Refusal {
	return &Refusal{Kind: kind, Says: says, Fields: fields}
}

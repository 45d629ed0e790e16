package usecase

import (
	"errors"

	"lidwright/tiles"
	"lidwright/tiles/lid"
)

// IsInvalid reports whether err is a form at fault, which the person can put right.
func IsInvalid(err error) bool {
	var many tiles.InvalidFields
	var one *tiles.Invalid
	return errors.As(err, &many) || errors.As(err, &one)
}

// SizeLid computes, from what the question rests on.
func SizeLid(q lid.Question, d lid.Defaults, on rest) (lid.Answer, error) {
	if err := q.Validate(d); err != nil {
		return lid.Answer{}, err
	}
	known, err := q.Know(on.rates, on.At.Firing, on.gone)
	if err != nil {
		return lid.Answer{}, err
	}
	known.Part, known.Tight, known.Rim = on.part, on.tight, on.rim
	return lid.Size(q, d, known)
}

func (s *Studio) Unit() tiles.LengthUnit {
	if s.Site.Units == "" {
		return tiles.MM
	}
	return tiles.LengthUnit(s.Site.Units)
}

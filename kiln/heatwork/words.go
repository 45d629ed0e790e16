package heatwork

import (
	"errors"

	"lidwright/kiln/message"
)

// either is a or, where first is false, b.
func either(first bool, a, b message.Key) message.Key {
	if first {
		return a
	}
	return b
}

// coneSays is what is wrong with a cone.
func coneSays(err error) message.Message {
	var e *ConeError
	if errors.As(err, &e) {
		return e.Says()
	}
	return message.New("This cone cannot be read.")
}

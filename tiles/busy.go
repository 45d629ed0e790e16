package tiles

import "errors"

// ErrBusy means that the store cannot take anything now: locked, or the card is full. What
// was to be kept is not kept.
var ErrBusy = errors.New("the store cannot take it now")

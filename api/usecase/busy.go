// Package usecase is where the use cases and the storage they ask for meet, without HTTP: the caller
// says by a Precondition what must stand there before an edit, and the storage answers, or refuses
// with ErrBusy. Facts themselves are those of kiln and tiles.
//
// It holds no SQL, knows no status code, and judges no fact.
package usecase

import "errors"

// ErrBusy means that the store cannot take anything now: locked, or the card is full. What
// was to be kept is not kept.
var ErrBusy = errors.New("the store cannot take it now")

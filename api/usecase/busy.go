// Package usecase is what people do with the studio, without HTTP: ask a lid, enter a reading, log a firing,
// take in a table, hear what changed. Handlers, pages, commands with a store of their own and the daemon call
// it: a question or a fact comes in as a type of api/wire or of the trade, an answer goes out as one. It asks
// for what it needs by small interfaces (storage.go), of which the daemon's store, recorder and fit are one
// kind. What cannot be done is a Refusal, a form at fault a tiles.Invalid, the rest trouble with the machine.
//
// It knows no status code, no page and no SQL; time, ids and chance are handed in.
package usecase

import "errors"

// ErrBusy means that the store cannot take anything now: locked, or the card is full. What
// was to be kept is not kept.
var ErrBusy = errors.New("the store cannot take it now")

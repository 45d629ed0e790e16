// Package client asks a running daemon over its API, as the commands do: a question is a Get, a fact a Put, a
// table a Table. An answer comes back as the bytes that were sent; a refusal as a *wire.Problem, a daemon
// that is not there as ErrNotReachable.
//
// It waits where the daemon asks it to (Retry-After, RFC 9110, 10.2.3) and sends the same again, which harms
// nothing because facts have ids of their own. Where no daemon runs, a handler of the same program answers
// questions from the store (InProcess); nothing is written then.
//
// It knows no route and no page; net/http does the rest.
package client

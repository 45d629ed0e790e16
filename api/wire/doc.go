// Package wire has each fact, question and answer of the API once, as it stands in JSON: types alone, with
// the names, units and words of the generated document in their tags. Handlers, use cases, the client, the
// commands and the pages use them. What flows in and out of the daemon over HTTP is one of these.
//
// It computes nothing and knows neither HTTP nor the store; a value is rounded by whoever fills one in.
//
// A field that is a pointer is null where the thing is not known, not said or not there; zero is a value.
// The end of a name tells the unit: _c are °C (to 0.1), _mm millimetres (to 0.01), _s seconds. What ends in
// _at is a moment as RFC 3339 writes it. Chances go from 0 to 1 (to 0.0001).
package wire

// Package wire has each fact, question and answer of the API once, as it stands in JSON: types alone, with
// the names, units and words of the generated document in their tags. Handlers, use cases, the client, the
// commands and the pages use them. What flows in and out of the daemon over HTTP is one of these.
//
// It computes nothing and knows neither HTTP nor the store; a value is rounded by whoever fills one in.
package wire

// Package web is what stands around the routes of the API and the pages, whatever they answer: the checks
// that every request passes (Guard), problem details (Problem, RFC 9457), entity tags and conditional
// requests (Tagged, Preconditions; RFC 9110, 13), compression, answers kept ready (Cache), strict JSON, and
// how many connections one address may hold (Limit).
//
// In flow requests and errors of the trade and the store; out come answers, refusals in one form, and for
// what is nobody's fault but the machine's a reference that the log has too (Troubles).
//
// Compression is compress/gzip and ours: an answer kept ready keeps its compressed bytes beside it under a
// weak tag, which a handler wrapped around the routes cannot. The cache is ours because it is keyed by the
// revision of the record, not by time.
//
// It knows no route, no passcode and no page; those are api, api/auth and api/pages.
package web

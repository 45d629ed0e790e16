// Package auth finds out who asks and keeps out who may not: passcodes, the sessions of browsers, and how
// often an address may try (Gate).
//
// There are two passcodes, the bench's for readings and the owner's for clays, kilns and imports. What is
// kept of one is a PBKDF2 hash (RFC 8018); a browser types it once and shows a cookie from then on, and its
// forms carry a token. Wrong ones are limited by address and in all (golang.org/x/time/rate), and lock nobody
// out at whose address the right one was before.
//
// In flow requests and what each route needs (Rules); out come the Caller in a request's context, or a
// refusal. Sessions are kept by whoever stores them (Sessions). It draws no page and knows no route.
package auth

// Package metrics tells Prometheus of a studio: its kilns and probes, the serial line, the store, notices,
// rates of clays, and what was asked over HTTP. Nothing in the program pushes a metric; one collector asks
// the studio at scrape time, and what is not known is absent.
//
// In flow a usecase.Studio, the time of each request (Timed) and the trust of each lid answer (LidAnswered);
// out comes the text form of Prometheus (Handler). Units are base units, and no label is taken from a
// request.
//
// Rates of clays take long to work out: Run does so behind the back of the scrape, which has the last ones.
// Rules that watch these metrics, with their tests, stand in deploy/prometheus.
package metrics

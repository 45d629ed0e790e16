package api

import (
	"fmt"
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
)

var (
	mStore        = desc("store_bytes", "Size of the store without its copies.")
	mFree         = desc("store_free_bytes", "Room left beside it.")
	mCopies       = desc("store_copies", "Copies that are kept.")
	mStoreTrouble = desc("store_trouble", "How many things are wrong with the store; the page More has them in words.")
	mStoreGone    = desc("store_gone", "1 if the file of the store is no longer in its place: nothing can be kept.")
	mStoreBack    = desc("store_went_back", "1 if at the start something was missing that had been kept.")
	mReady        = desc("ready", "1 while what is recorded and entered can be kept, 0 where /readyz answers 503.")
	mWaiting      = desc("store_waiting_samples", "Samples in memory because they cannot be written now; absent if all is well.")
)

// store tells the metrics how the store is.
func (c collector) store(gauge func(*prometheus.Desc, float64, ...string)) {
	if err := c.s.Ready(); err == nil {
		gauge(mReady, 1)
	} else {
		gauge(mReady, 0)
	}
	h, err := c.s.Store()
	if err != nil {
		gauge(mStoreTrouble, 1)
		return
	}
	gauge(mStore, float64(h.Bytes))
	gauge(mFree, float64(h.Free))
	gauge(mCopies, float64(h.Copies))
	gauge(mStoreGone, number(h.Gone))
	gauge(mStoreBack, number(h.Back))
	wrong := len(h.Trouble)
	if t, ok := c.s.Kilns.Trouble(); ok {
		wrong++
		gauge(mWaiting, float64(t.Waiting))
	}
	gauge(mStoreTrouble, float64(wrong))
}

// storeTrouble is all that is wrong with the store, each in a sentence.
func (s *Server) storeTrouble(h StoreHealth, err error) []string {
	trouble := h.Trouble
	if err != nil {
		trouble = append(trouble, sentence(err.Error()))
	}
	if t, ok := s.Kilns.Trouble(); ok {
		says := fmt.Sprintf("The store cannot write: %s Recording goes on in memory, %d samples so far; entries are refused.", sentence(t.Why), t.Waiting)
		if t.Thinned > 0 {
			says += fmt.Sprintf(" To make room, %d of them were given up.", t.Thinned)
		}
		trouble = append(trouble, says)
	}
	return trouble
}

// storeAlarm is what everybody must know of the store, each in a sentence.
func (s *Server) storeAlarm() []string {
	if s.Store == nil { // nobody looks after it
		return nil
	}
	h, err := s.Store()
	if err != nil {
		return []string{sentence(err.Error())}
	}
	for i := range h.Alarm {
		h.Alarm[i] = sentence(h.Alarm[i])
	}
	return h.Alarm
}

// storeWords are lines about the store for the page More, and what is wrong with it.
func (s *Server) storeWords() (words, trouble []string) {
	h, err := s.Store()
	trouble = s.storeTrouble(h, err)
	if err == nil {
		words = append(words, fmt.Sprintf("%.1f MB kept, %.1f GB free", float64(h.Bytes)/1e6, float64(h.Free)/1e9))
	}
	switch {
	case h.Copies == 0:
		words = append(words, "no copy yet: the first is made at the end of a firing, or after a day")
	default:
		words = append(words, fmt.Sprintf("%d %s, the newest of %s", h.Copies, oneOf(h.Copies == 1, "copy", "copies"), h.LastCopy.In(s.Site.Zone).Format("2 Jan 2006 15:04")))
	}
	return words, trouble
}

func oneOf(first bool, a, b string) string {
	if first {
		return a
	}
	return b
}

// tellHealth answers the two probes: word, and what is wrong with the store, a line each. A store
// in trouble is no reason to stop a daemon that records.
func (s *Server) tellHealth(w http.ResponseWriter, word string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	fmt.Fprintln(w, word)
	for _, says := range s.storeTrouble(s.Store()) {
		fmt.Fprintln(w, says)
	}
}

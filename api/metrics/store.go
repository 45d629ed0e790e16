package metrics

import "github.com/prometheus/client_golang/prometheus"

var (
	mStore        = desc("store_bytes", "Size of the store without its copies.")
	mFree         = desc("store_free_bytes", "Room left beside it.")
	mCopies       = desc("store_copies", "Copies that are kept.")
	mStoreTrouble = desc("store_trouble", "How many things are wrong with the store; the page More has them in words.")
	mStoreGone    = desc("store_gone", "1 if the file of the store is no longer in its place: nothing can be kept.")
	mStoreBack    = desc("store_went_back", "1 if at the start something was missing that had been kept.")
	mReady        = desc("ready", "1 while what is recorded and entered can be kept, 0 where /readyz answers 503.")
	mWaiting      = desc("store_waiting_samples",
		"Samples in memory because they cannot be written now; absent if all is well.")
)

// store tells the metrics how the store is.
func (c collector) store(gauge func(*prometheus.Desc, float64, ...string)) {
	if err := c.Ready(); err == nil {
		gauge(mReady, 1)
	} else {
		gauge(mReady, 0)
	}
	h, err := c.Store()
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
	if t, ok := c.Recorder.Trouble(); ok {
		wrong++
		gauge(mWaiting, float64(t.Waiting))
	}
	gauge(mStoreTrouble, float64(wrong))
}

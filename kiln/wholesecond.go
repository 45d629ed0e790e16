package kiln

import "time"

// wholeSecond thins a kiln's samples to one a second: the last good reading of a channel in a
// whole second stands for it, under the stamp of that second.
type wholeSecond struct {
	open   bool
	boot   BootID
	second time.Duration // since the start of that boot, of the second that is open or was last
	sample Sample
}

// add takes a sample and gives the second before it, when that is complete.
func (w *wholeSecond) add(s Sample) (whole Sample, ok bool) {
	second := s.At.Since.Truncate(time.Second)
	if w.boot == s.At.Boot && second <= w.second {
		if w.open {
			w.merge(s)
		}
		return Sample{}, false // that second is over: too late to count
	}
	whole, ok = w.flush()
	s.At.Wall = s.At.Wall.Add(second - s.At.Since)
	s.At.Since = second
	values := make([]Value, len(s.Values))
	copy(values, s.Values)
	s.Values = values
	w.open, w.boot, w.second, w.sample = true, s.At.Boot, second, s
	return whole, ok
}

// merge takes a sample of the same second in: what is good replaces what was before it.
func (w *wholeSecond) merge(s Sample) {
	for _, v := range s.Values {
		found := false
		for i, have := range w.sample.Values {
			if have.Channel != v.Channel {
				continue
			}
			found = true
			if v.Fault == Good || have.Fault != Good {
				w.sample.Values[i] = v
			}
		}
		if !found {
			w.sample.Values = append(w.sample.Values, v)
		}
	}
	if s.Raw != "" {
		w.sample.Raw = s.Raw
	}
}

// before reports whether the open second is over at now.
func (w *wholeSecond) before(now Stamp) bool {
	return w.open && (now.Boot != w.sample.At.Boot || now.Since >= w.second+time.Second)
}

// flush gives the open second as it is.
func (w *wholeSecond) flush() (whole Sample, ok bool) {
	if !w.open {
		return Sample{}, false
	}
	w.open = false
	return w.sample, true
}

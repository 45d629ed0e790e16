package codec

import (
	"time"

	"lidwright/kiln"
)

// Decode gives the samples of a block back, all said to be of k.
func Decode(data []byte, k kiln.KilnID) ([]kiln.Sample, error) {
	b, err := DecodeBlock(data)
	if err != nil {
		return nil, err
	}
	return b.Samples(k), nil
}

// Samples are the block as it was heard.
func (b *Block) Samples(k kiln.KilnID) []kiln.Sample {
	samples := make([]kiln.Sample, len(b.Since))
	values := make([]kiln.Value, len(b.Since)*len(b.channels))
	width := len(b.channels)
	i := 0
	for _, s := range b.Stretches {
		for to := i + s.n; i < to; i++ {
			samples[i] = kiln.Sample{Kiln: k, At: s.Stamp(b.Since[i]),
				Values: values[i*width : i*width : (i+1)*width]}
		}
	}
	for _, c := range b.channels {
		i, number := 0, 0
		for _, s := range c.states {
			v := kiln.Value{Channel: c.id, T: kiln.NoTemperature(), Fault: b.fault(s.state)}
			for range s.n {
				if hasNumber(s.state) {
					v.T = CelsiusOf(c.counts[number])
					number++
				}
				if s.state != stateAbsent {
					samples[i].Values = append(samples[i].Values, v)
				}
				i++
			}
		}
	}
	return samples
}

func (b *Block) fault(state int) kiln.Fault {
	if state < stateFaulty {
		return kiln.Good
	}
	return b.faults[(state-stateFaulty)/2]
}

// Stamp is the moment so many ns after the start of the stretch's boot; its wall time is reckoned by the
// offset of the stretch.
func (s Stretch) Stamp(since int64) kiln.Stamp {
	return kiln.Stamp{Boot: s.boot, Since: time.Duration(since),
		Wall: time.UnixMilli(s.Offset).UTC().Add(time.Duration(since)), Trusted: s.Trusted}
}

// Cut leaves out what was heard after a firing was over, and reports whether there was any.
func (b *Block) Cut(over kiln.Stamp) (n int, any bool) {
	i := 0
	for _, s := range b.Stretches {
		for to := i + s.n; i < to; i++ {
			if s.boot == over.Boot && b.Since[i] > int64(over.Since) {
				return i, true
			}
		}
	}
	return len(b.Since), false
}

// Thin hands the first n samples of the block to a thinner: good readings only.
func (b *Block) Thin(t *kiln.Downsampler, n int) {
	steps := make([]time.Duration, n) // of each sample, -1 where it does not count
	i := 0
	for _, s := range b.Stretches {
		first := i
		for to := min(i+s.n, n); i < to; i++ {
			var ok bool
			if i == first {
				steps[i], ok = t.Moment(s.Stamp(b.Since[i]))
			} else {
				steps[i], ok = t.Later(time.Duration(b.Since[i]))
			}
			if !ok {
				steps[i] = -1
			}
		}
	}
	for _, c := range b.channels {
		place := t.Place(c.id)
		if place < 0 {
			continue
		}
		i, number := 0, 0
		for _, s := range c.states {
			if s.state == stateGood {
				for j := range min(s.n, max(n-i, 0)) {
					if steps[i+j] >= 0 {
						t.Put(place, steps[i+j], CelsiusOf(c.counts[number+j]))
					}
				}
			}
			if hasNumber(s.state) {
				number += s.n
			}
			i += s.n
		}
	}
}

// Lay lays the first n samples of the block onto a curve: good readings only.
func (b *Block) Lay(l *kiln.Resampler, n int) {
	rows := make([][]kiln.Celsius, len(b.channels)) // good readings of each channel, NaN elsewhere
	place := make([]int, len(b.channels))
	for i, c := range b.channels {
		column := make([]kiln.Celsius, 0, len(b.Since))
		number := 0
		for _, s := range c.states {
			for range s.n {
				t := kiln.NoTemperature()
				if s.state == stateGood {
					t = CelsiusOf(c.counts[number])
				}
				if hasNumber(s.state) {
					number++
				}
				column = append(column, t)
			}
		}
		rows[i], place[i] = column, l.Place(c.id)
	}
	row := l.Row()
	i := 0
	for _, s := range b.Stretches {
		for to := i + s.n; i < to && i < n; i++ {
			for c, at := range place {
				if at >= 0 {
					row[at] = rows[c][i]
				}
			}
			l.AddRow(s.Stamp(b.Since[i]), row)
		}
	}
}

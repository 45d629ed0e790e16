package store

import (
	"encoding/binary"
	"errors"
	"os"
)

// logHarm is what is wrong with a write-ahead log. SQLite takes the good beginning of a log and passes
// the rest over without a word, because after a power cut there is a rest as a rule: what was being
// written. A log whose middle was spoiled looks the same to it.
type logHarm int

const (
	logWhole logHarm = iota
	// the last entry in it is not whole: the power was cut while it was written, or it was spoiled later
	logTorn
	logHurt // entries are in it behind one that is not whole, so that they had been acknowledged
)

// The form of a log stands in sqlite.org/fileformat2.html, 4: a head of 32 bytes, then frames of a head
// of 24 and a page each; a frame with the size of the file in its head ends a transaction, and each has
// the sum of all before it.
const (
	logHead, frameHead = 32, 24
	// a commit is filled up to the end of such a block, with frames that count for nothing (psow=0)
	logBlock = 4096
)

// harmOf looks a log over. One that is not there is whole. Before a transaction is written the one
// before it is on the card, so that behind a spoiled place at most one of those that were being
// written can stand: two are entries that were acknowledged and that SQLite does not see.
func harmOf(path string) (logHarm, error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return logWhole, nil
	}
	if err != nil || len(data) < logHead {
		return logWhole, err
	}
	page := int(binary.BigEndian.Uint32(data[8:]))
	if page < 512 || page > 1<<16 || page&(page-1) != 0 {
		page = logBlock
	}
	l := logFile{data: data, frame: frameHead + page, big: data[3]&1 == 1}
	l.frames = (len(data) - logHead) / l.frame
	salts := string(data[16:24])
	seen, room := 0, 0 // frames that are good and committed; where those end that only fill a block
	if sum := l.sum([2]uint32{}, data[:24]); sum == pair(data[24:]) &&
		binary.BigEndian.Uint32(data)&^1 == 0x377f0682 {
		end := 0
		for i := 0; i < l.frames && string(l.at(i)[8:16]) == salts; i++ {
			f := l.at(i)
			if sum = l.sum(l.sum(sum, f[:8]), f[frameHead:]); sum != pair(f[16:]) {
				break
			}
			if binary.BigEndian.Uint32(f[4:]) != 0 {
				if l.offset(i) >= end {
					end = l.fill(i)
				}
				seen, room = i+1, end
			}
		}
	} else {
		// Its head is spoiled: nothing of it is seen. What it holds goes by the name of most frames.
		names := map[string]int{}
		for i := range l.frames {
			names[string(l.at(i)[8:16])]++
		}
		for name, n := range names {
			if n > names[salts] {
				salts = name
			}
		}
		if l.frames == 0 || string(data[16:24]) != salts && !l.follows(0, pair(data[24:])) {
			// Not even its name was theirs: a new head was being written over a log whose entries were all
			// in the file, or so much is spoiled that nobody can tell. The numbers must.
			if l.entries(0, 0, salts) > 0 {
				return logTorn, nil
			}
			return logWhole, nil
		}
	}
	switch n := l.entries(seen, room, salts); {
	case n > 1:
		return logHurt, nil
	case n == 1:
		return logTorn, nil
	}
	return logWhole, nil
}

// logFile is a log in memory.
type logFile struct {
	data          []byte
	frame, frames int // bytes of one, and how many there are
	big           bool
}

func (l *logFile) offset(i int) int { return logHead + i*l.frame }

func (l *logFile) at(i int) []byte { return l.data[l.offset(i):l.offset(i+1)] }

// fill is where the frames end that fill the block up in which frame i ends.
func (l *logFile) fill(i int) int { return (l.offset(i+1) + logBlock - 1) / logBlock * logBlock }

// follows reports whether frame i has the sum that comes after one.
func (l *logFile) follows(i int, sum [2]uint32) bool {
	f := l.at(i)
	return l.sum(l.sum(sum, f[:8]), f[frameHead:]) == pair(f[16:])
}

// entries counts the transactions of a name that end in a frame from the one given on.
func (l *logFile) entries(from, room int, salts string) (n int) {
	for i := from; i < l.frames; i++ {
		f := l.at(i)
		if l.offset(i) < room || string(f[8:16]) != salts || binary.BigEndian.Uint32(f[4:]) == 0 {
			continue
		}
		n++
		room = l.fill(i)
	}
	return n
}

// sum goes on with the sum of a log over more of it.
func (l *logFile) sum(s [2]uint32, data []byte) [2]uint32 {
	var order binary.ByteOrder = binary.LittleEndian
	if l.big {
		order = binary.BigEndian
	}
	for i := 0; i+8 <= len(data); i += 8 {
		s[0] += order.Uint32(data[i:]) + s[1]
		s[1] += order.Uint32(data[i+4:]) + s[0]
	}
	return s
}

func pair(data []byte) [2]uint32 {
	return [2]uint32{binary.BigEndian.Uint32(data), binary.BigEndian.Uint32(data[4:])}
}

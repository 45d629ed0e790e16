package notice

import (
	"time"

	"lidwright/kiln"
	"lidwright/kiln/record"
)

// storm is how soon the same thing may be told to begin again: what comes and goes faster is one
// notice, and clears once it has stayed away for so long.
const storm = 10 * time.Minute

// Gate lets one beginning and one clearing of a thing through, and every thing that happens once.
// A thing that flaps is told once and cleared when it has been away for storm. The zero one is
// ready; Restore puts back what stood when the program last ended.
type Gate struct {
	things map[thing]*standing
}

type thing struct{ event, kiln string }

type standing struct {
	told  bool       // a beginning went out that has not been cleared
	here  bool       // it is so now
	since kiln.Stamp // of the last change of here
	last  Message    // to clear with
	once  kiln.Stamp // when a thing without an end was last told
}

// Restore says that a beginning was told before and not yet cleared. If it is not told to be so
// within storm it is cleared.
func (g *Gate) Restore(m Message, now kiln.Stamp) {
	*g.of(m) = standing{told: true, since: now, last: m}
}

func (g *Gate) of(m Message) *standing {
	if g.things == nil {
		g.things = map[thing]*standing{}
	}
	k := thing{m.Event, m.Kiln}
	if g.things[k] == nil {
		g.things[k] = &standing{}
	}
	return g.things[k]
}

// Pass says whether m is to be sent now.
func (g *Gate) Pass(m Message, now kiln.Stamp) bool {
	s := g.of(m)
	switch m.State {
	case string(record.NoticeBegan):
		s.last = m
		if !s.here { // said again it has stood all the while
			s.here, s.since = true, now
		}
		if s.told {
			return false
		}
		s.told = true
		return true
	case string(record.NoticeCleared):
		wasHere, began := s.here, s.since
		s.last = m
		if s.here || s.since == (kiln.Stamp{}) {
			s.here, s.since = false, now
		}
		if !s.told {
			return false
		}
		// It stood for a while, so that its going is worth telling at once; else it may come back.
		if lasted, _ := now.Sub(began); wasHere && lasted >= storm {
			s.told = false
			return true
		}
		return false
	}
	if m.Event == Test {
		return true
	}
	if s.once != (kiln.Stamp{}) {
		if ago, known := now.Sub(s.once); known && ago < storm && m.Event != record.FiringStartedNotice &&
			m.Event != record.FiringEndedNotice {
			return false
		}
	}
	s.once = now
	return true
}

// Stands reports whether a beginning of the event went out that has not been cleared.
func (g *Gate) Stands(event string) bool {
	s := g.things[thing{event: event}]
	return s != nil && s.told
}

// Look gives the clearings that are due: of things that went away and stayed away.
func (g *Gate) Look(now kiln.Stamp) []Message {
	var out []Message
	for _, s := range g.things {
		if !s.told || s.here {
			continue
		}
		if away, _ := now.Sub(s.since); away >= storm {
			s.told = false
			out = append(out, cleared(s.last))
		}
	}
	return out
}

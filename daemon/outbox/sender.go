package outbox

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/tiles"
)

const (
	mostFacts   = 500     // changes in one body
	mostBytes   = 900_000 // of the changes in one body, so that the whole stays under 1 MiB
	mostFirings = 20      // firings in one body
	mostGaps    = 3       // times in a row that a collector may send us back without taking anything
	shownBody   = 4000    // signs of the last body that are shown
)

// sender is the outbox of one joining: how far the collector is, and what of each firing is there.
type sender struct {
	*Outbox
	joined joined
	http   *client

	life    string
	have    int64
	known   bool // life, have and firings were read
	sent    map[string]wire.FiringMark
	fresh   bool              // what is written down of firings no longer holds
	unsaved []wire.FiringMark // sent since the cursor was written
	saved   int64             // have as it was written
	savedAt time.Duration     // by the clock since the start of the machine
	boots   map[string]bool   // told to this collector in this life
	ask     bool              // the collector may lack firings: ask which
	gaps    int
	looked  int64 // the newest change when the firings were looked through last

	live    time.Duration            // when it was told last
	curves  map[string]time.Duration // when the curve of a firing under way was sent last
	failed  int
	pausing bool
	waits   bool // facts wait for the clock
}

// turn sends everything that there is to send.
func (s *sender) turn(ctx context.Context) error {
	if err := s.settle(ctx); err != nil {
		return err
	}
	if err := s.pushAll(ctx); err != nil {
		return err
	}
	if err := s.tellLive(ctx); err != nil {
		return err
	}
	s.save(ctx, false)
	return nil
}

// pushAll sends one body after another until there is none left.
func (s *sender) pushAll(ctx context.Context) error {
	for more := true; more && ctx.Err() == nil; {
		var err error
		if more, err = s.push(ctx); err != nil {
			return err
		}
		s.save(ctx, false)
	}
	return nil
}

// next is how long nothing needs to be sent unless something is written.
func (s *sender) next() time.Duration {
	now := s.Now().Since
	wait := s.live + s.liveEach() - now
	if s.unsavedYet() {
		wait = min(wait, s.savedAt+s.SaveEach-now)
	}
	return max(wait, 10*time.Millisecond)
}

// settle reads how far the collector is of the life that the record is in now.
func (s *sender) settle(ctx context.Context) error {
	_, life, err := s.Store.Site(ctx)
	if err != nil {
		return err
	}
	if s.known && life == s.life {
		return nil
	}
	had, have, err := s.Store.Sent(ctx, s.joined.URL)
	if err != nil {
		return err
	}
	s.sent, s.boots, s.curves, s.ask = map[string]wire.FiringMark{}, map[string]bool{},
		map[string]time.Duration{}, true
	s.unsaved, s.fresh, s.savedAt, s.looked = nil, false, s.Now().Since, -1
	if had != life { // the record went back, or was never sent: from the beginning
		have, s.fresh = 0, true
	} else {
		marks, err := s.Store.SentFirings(ctx, s.joined.URL)
		if err != nil {
			return err
		}
		for _, m := range marks {
			s.sent[m.ID] = m
		}
	}
	s.life, s.saved, s.known = life, have, true
	s.isAt(have)
	return nil
}

func (s *sender) unsavedYet() bool { return s.fresh || s.saved != s.have || len(s.unsaved) > 0 }

// save writes the cursor, at most once in SaveEach unless at the end. A cursor that is lost costs a repeat.
func (s *sender) save(ctx context.Context, last bool) {
	now := s.Now()
	if !s.known || !s.unsavedYet() || !last && now.Since-s.savedAt < s.SaveEach {
		return
	}
	s.savedAt = now.Since
	if err := s.Store.Save(ctx, s.joined.URL, s.life, s.have, s.fresh, s.unsaved, now); err != nil {
		slog.Info("how far the collector is was not written down; it is tried again", "err", err)
		return
	}
	s.saved, s.fresh, s.unsaved = s.have, false, nil
}

// push sends one body, and the curves of its firings, if there is anything to send; more tells whether
// there may be more.
func (s *sender) push(ctx context.Context) (more bool, err error) {
	p := wire.Push{Form: s.Form, Version: s.Version, Life: s.life, After: s.have}
	if p.Last, err = s.Store.LastChange(ctx); err != nil {
		return false, err
	}
	changes, err := s.Store.Changes(ctx, s.have, mostFacts)
	if err != nil {
		return false, err
	}
	p.Facts = s.facts(changes)
	if n := len(p.Facts); n > 0 {
		found, err := s.Store.Found(ctx, s.have, p.Facts[n-1].Seq)
		if err != nil {
			return false, err
		}
		for i := range p.Facts {
			p.Facts[i].Found = found[p.Facts[i].Seq]
		}
	}
	var fresh, all []wire.FiringMark
	if s.ask || p.Last != s.looked { // whatever raises a revision is a change too
		if fresh, all, err = s.freshFirings(ctx); err != nil {
			return false, err
		}
	}
	curves := map[string][]byte{}
	for _, m := range fresh[:min(len(fresh), mostFirings)] {
		f, curve, err := s.Store.SentFiring(ctx, m.ID)
		if errors.Is(err, kiln.ErrNoFiring) {
			continue
		}
		if err != nil {
			return false, err
		}
		p.Firings, curves[f.ID] = append(p.Firings, f), curve
	}
	if s.ask {
		for _, m := range all {
			if sent, ok := s.sent[m.ID]; ok {
				p.Has = append(p.Has, sent)
			}
		}
	}
	if len(p.Facts) == 0 && len(p.Firings) == 0 && !s.ask {
		s.looked = p.Last
		return false, nil
	}
	if p.Boots, err = s.freshBoots(ctx); err != nil {
		return false, err
	}
	taken, gap, err := s.post(ctx, &p)
	if err != nil || gap {
		return gap, err
	}
	for _, b := range p.Boots {
		s.boots[b.ID] = true
	}
	for _, id := range taken.Want {
		delete(s.sent, id)
	}
	for _, f := range p.Firings {
		if err := s.sendCurve(ctx, f, curves[f.ID]); err != nil {
			return false, err
		}
	}
	if s.looked = -1; len(fresh) <= mostFirings && len(taken.Want) == 0 {
		s.looked = p.Last
	}
	return len(p.Facts) > 0 && s.have < p.Last || len(fresh) > mostFirings || len(taken.Want) > 0, nil
}

// post sends a body and moves the cursor by what is answered; gap: it moved back, and nothing was taken.
func (s *sender) post(ctx context.Context, p *wire.Push) (taken wire.PushTaken, gap bool, err error) {
	body, err := json.Marshal(p)
	if err != nil {
		return taken, false, err
	}
	site, _, err := s.Store.Site(ctx)
	if err != nil {
		return taken, false, err
	}
	s.showBody(body)
	err = s.http.send(ctx, http.MethodPost, "/v1/studios/"+site+"/push", jsonType, body, true, &taken)
	if back, is := isGap(err); is {
		return taken, true, s.back(back.Have)
	}
	if err != nil {
		return taken, false, err
	}
	upTo := s.have
	if n := len(p.Facts); n > 0 {
		upTo = p.Facts[n-1].Seq
	}
	switch {
	case taken.Have < upTo:
		return taken, false, fmt.Errorf("%w: it says that it has changes up to %d after it took those up to %d",
			errStrange, taken.Have, upTo)
	case taken.Have > p.Last:
		return taken, false, fmt.Errorf("the collector has more changes of this record (%d) than this machine (%d): another machine says that it is this studio, or the record lost its newest part. Its owner can say which holds: lidwright-collect studio readmit %s", taken.Have, p.Last, site)
	}
	s.gaps, s.ask = 0, false
	s.isAt(taken.Have)
	s.took()
	return taken, false, nil
}

func isGap(err error) (*refused, bool) {
	var no *refused
	return no, errors.As(err, &no) && no.Why == "gap"
}

// back begins again where the collector says that it is.
func (s *sender) back(have int64) error {
	if s.gaps++; s.gaps > mostGaps || have < 0 || have >= s.have && have != 0 {
		s.gaps = 0
		return fmt.Errorf("%w: it sends us back to change %d while it is at %d, again and again",
			errStrange, have, s.have)
	}
	slog.Info("the collector lost the end of what it had; it is sent again", "from", have, "to", s.have)
	s.ask, s.boots = true, map[string]bool{}
	s.isAt(have)
	return nil
}

// facts are changes as they are sent, as many as one body holds. Those of a clock that is not trusted wait a
// day for it, and all behind them.
func (s *sender) facts(changes []tiles.Change) []wire.PushFact {
	var out []wire.PushFact
	now, size := s.Now(), 0
	s.waits = false
	for _, c := range changes {
		if !c.Trusted && c.Boot == string(now.Boot) && now.Since < s.TrustWait {
			s.waits = true
			break
		}
		if size += len(c.Body) + 250; size > mostBytes && len(out) > 0 {
			break
		}
		body := json.RawMessage(c.Body)
		if !s.joined.Makers {
			body = withoutMakers(c.Kind, body)
		}
		out = append(out, wire.PushFact{Seq: c.Seq, Kind: c.Kind, Op: c.Op, ID: c.ID, At: c.At,
			ClockTrusted: c.Trusted, Boot: c.Boot, Body: body})
	}
	return out
}

// withoutMakers blanks what holds a maker's mark.
func withoutMakers(kind string, body json.RawMessage) json.RawMessage {
	var members map[string]json.RawMessage
	if json.Unmarshal(body, &members) != nil {
		return body
	}
	touched := false
	for _, m := range wire.MakerMembers {
		if said, ok := members[m]; ok && (m != "mark" || kind == "pot") && len(said) > 0 && said[0] == '"' &&
			string(said) != `""` {
			members[m], touched = json.RawMessage(`""`), true
		}
	}
	if !touched {
		return body
	}
	blank, err := json.Marshal(members)
	if err != nil {
		return json.RawMessage(`{}`)
	}
	return blank
}

// freshFirings are those that the collector has not as they are now, and all that there are.
func (s *sender) freshFirings(ctx context.Context) (fresh, all []wire.FiringMark, err error) {
	all, err = s.Store.FiringRevisions(ctx)
	for _, m := range all {
		if m.Revision > s.sent[m.ID].Revision {
			fresh = append(fresh, m)
		}
	}
	return fresh, all, err
}

func (s *sender) freshBoots(ctx context.Context) ([]wire.PushBoot, error) {
	all, err := s.Store.Boots(ctx)
	var fresh []wire.PushBoot
	for _, b := range all {
		if !s.boots[b.ID] {
			fresh = append(fresh, b)
		}
	}
	return fresh, err
}

// sendCurve sends the curve of a firing whose row is there, unless the same is there already.
func (s *sender) sendCurve(ctx context.Context, f wire.SentFiring, curve []byte) error {
	mark := wire.FiringMark{ID: f.ID, Revision: f.Revision, Curve: s.CurveSum(curve)}
	if mark.Curve != 0 && mark.Curve != s.sent[f.ID].Curve {
		if err := s.putCurve(ctx, f.ID, f.Revision, curve); err != nil {
			return err
		}
	}
	s.sent[f.ID] = mark
	s.unsaved = append(s.unsaved, mark)
	if f.Status == string(kiln.Running) {
		s.curves[f.ID] = s.Now().Since
	} else {
		delete(s.curves, f.ID)
	}
	return nil
}

func (s *sender) putCurve(ctx context.Context, id string, revision int64, curve []byte) error {
	site, _, err := s.Store.Site(ctx)
	if err != nil {
		return err
	}
	path := "/v1/studios/" + site + "/firings/" + url.PathEscape(id) + "/curve?revision=" +
		strconv.FormatInt(revision, 10)
	err = s.http.send(ctx, http.MethodPut, path, "application/octet-stream", curve, false, nil)
	var no *refused
	if errors.As(err, &no) && no.Why == "later" {
		return nil // it has a later one
	}
	if err == nil {
		s.took()
	}
	return err
}

// tellLive says what the kilns do now, and sends the curves of firings under way, each in its own time.
func (s *sender) tellLive(ctx context.Context) error {
	now := s.Now().Since
	if now-s.live < s.liveEach() && s.live != 0 {
		return nil
	}
	kilns := s.Live()
	body, err := json.Marshal(wire.LivePush{Life: s.life, After: s.have, Kilns: kilns})
	if err != nil {
		return err
	}
	site, _, err := s.Store.Site(ctx)
	if err != nil {
		return err
	}
	err = s.http.send(ctx, http.MethodPut, "/v1/studios/"+site+"/live", jsonType, body, false, nil)
	if back, is := isGap(err); is {
		if err := s.back(back.Have); err != nil {
			return err
		}
		return s.pushAll(ctx)
	}
	if err != nil {
		return err
	}
	s.live = now
	s.took()
	for _, k := range kilns {
		if sent, ok := s.curves[k.Firing]; k.Firing == "" || !ok || now-sent < s.CurveEach {
			continue
		}
		f, curve, err := s.Store.SentFiring(ctx, k.Firing)
		if err != nil || f.Revision != s.sent[f.ID].Revision {
			continue // it is sent with its row
		}
		if err := s.sendCurve(ctx, f, curve); err != nil {
			return err
		}
	}
	return nil
}

// liveEach is how often what the kilns do is told.
func (s *sender) liveEach() time.Duration {
	for _, k := range s.Live() {
		if k.Firing != "" || k.Hot {
			return s.LiveFiring
		}
	}
	return s.LiveElse
}

func (s *sender) took() {
	s.mu.Lock()
	s.lastOK = s.Now().Wall
	s.mu.Unlock()
}

// isAt is how far the collector is now.
func (s *sender) isAt(have int64) {
	s.have = have
	s.mu.Lock()
	s.atLife, s.atHave = s.life, have
	s.mu.Unlock()
}

func (s *sender) showBody(body []byte) {
	shown := string(body)
	if len(shown) > shownBody {
		shown = fmt.Sprintf("%s … (%d bytes in all)", shown[:shownBody], len(body))
	}
	s.mu.Lock()
	s.body = shown
	s.mu.Unlock()
}

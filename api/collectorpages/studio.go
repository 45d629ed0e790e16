package collectorpages

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"net/http"
	"net/netip"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"lidwright/api/wire"
)

var errUnfolds = errors.New("the body unfolds to more than a studio sends")

// guesses rations wrong keys and codes by the address that they come from.
type guesses struct {
	mu   sync.Mutex // guards the field below
	from map[string]*guessed
}

type guessed struct {
	n     int
	since time.Time
}

const (
	guessesAMinute = 5
	mostGuessers   = 10_000
)

// may reports whether one more is looked at; wrong counts one.
func (g *guesses) may(from string, now time.Time) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	one := g.from[from]
	return one == nil || now.Sub(one.since) >= time.Minute || one.n < guessesAMinute
}

func (g *guesses) wrong(from string, now time.Time) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.from == nil || len(g.from) >= mostGuessers {
		kept := map[string]*guessed{}
		for f, one := range g.from {
			if now.Sub(one.since) < time.Minute && len(kept) < mostGuessers/2 {
				kept[f] = one
			}
		}
		g.from = kept
	}
	one := g.from[from]
	if one == nil || now.Sub(one.since) >= time.Minute {
		one = &guessed{since: now}
		g.from[from] = one
	}
	one.n++
}

// fromOf is the address that a request came from; of IPv6 its network, which one house has to itself.
func fromOf(r *http.Request) string {
	at, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	a := at.Addr().Unmap()
	if a.Is6() {
		p, _ := a.Prefix(64)
		return p.String()
	}
	return a.String()
}

func (s *Server) tooMany(w http.ResponseWriter) {
	w.Header().Set("Retry-After", "60")
	refuse(w, http.StatusTooManyRequests, wire.PushRefused{Why: "too_many",
		Says: "Too many wrong keys came from this address in the last minute."})
}

// known lets in who has the key of the studio in the path.
func (s *Server) known(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		from, now := fromOf(r), s.Now()
		if !s.guesses.may(from, now) {
			s.tooMany(w)
			return
		}
		token, is := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
		site, err := uuid.Parse(r.PathValue("site"))
		switch {
		case err != nil || site.String() != r.PathValue("site"):
			err = ErrNoSite
		case !is || len(token) < 32 || len(token) > 200:
			err = ErrNoKey
		default:
			err = s.Record.Comes(r.Context(), site.String(), token)
		}
		if errors.Is(err, ErrNoKey) || errors.Is(err, ErrElsewhere) || errors.Is(err, ErrNoSite) {
			s.guesses.wrong(from, now)
		}
		if err != nil {
			s.refusal(w, r, err)
			return
		}
		select {
		case s.at <- struct{}{}:
			defer func() { <-s.at }()
		case <-r.Context().Done():
			return
		case <-time.After(10 * time.Second):
			s.refusal(w, r, ErrBusy)
			return
		}
		next(w, r)
	}
}

// unfolded reads a body, compressed or not, of a bounded size.
func unfolded(w http.ResponseWriter, r *http.Request, most int64) ([]byte, error) {
	var in io.Reader = http.MaxBytesReader(w, r.Body, most)
	switch r.Header.Get("Content-Encoding") {
	case "", "identity":
	case "gzip":
		z, err := gzip.NewReader(in)
		if err != nil {
			return nil, fmt.Errorf("%w: it is not compressed as it says: %v", ErrWrong, err)
		}
		in = z
		most = mostUnfolded
	default:
		return nil, fmt.Errorf("%w: Content-Encoding %.40q", ErrWrong, r.Header.Get("Content-Encoding"))
	}
	body, err := io.ReadAll(io.LimitReader(in, most+1))
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge):
		return nil, err
	case err != nil:
		return nil, fmt.Errorf("%w: it ends in the middle: %v", ErrWrong, err)
	case int64(len(body)) > most:
		return nil, errUnfolds
	}
	return body, nil
}

func decode(w http.ResponseWriter, r *http.Request, into any) error {
	if kind, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";"); kind != "application/json" {
		return fmt.Errorf("%w: Content-Type must be application/json", ErrWrong)
	}
	body, err := unfolded(w, r, mostSent)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(body, into); err != nil {
		return fmt.Errorf("%w: %v", ErrWrong, err)
	}
	return nil
}

func (s *Server) join(w http.ResponseWriter, r *http.Request) {
	from, now := fromOf(r), s.Now()
	if !s.guesses.may(from, now) {
		s.tooMany(w)
		return
	}
	var ask wire.JoinAsk
	err := decode(w, r, &ask)
	if err == nil && (!isID(ask.Site) || !isID(ask.Life)) {
		err = fmt.Errorf("%w: site and life are UUIDs", ErrWrong)
	}
	if err != nil {
		s.refusal(w, r, err)
		return
	}
	token, name, err := s.Record.Join(r.Context(), Signs(ask.Code), ask.Site, ask.Life, ask.Version)
	if errors.Is(err, ErrNoCode) {
		s.guesses.wrong(from, now)
	}
	if err != nil {
		s.refusal(w, r, err)
		return
	}
	writeJSON(w, http.StatusOK, wire.JoinTaken{Token: token, Name: name, Collector: s.Name})
}

// Signs is a code as typed, less what does not count.
func Signs(code string) string {
	return strings.ToUpper(strings.NewReplacer("-", "", " ", "", "\t", "", "\n", "", "\r", "").Replace(code))
}

func isID(text string) bool {
	id, err := uuid.Parse(text)
	return err == nil && id.String() == text
}

func (s *Server) push(w http.ResponseWriter, r *http.Request) {
	began := time.Now()
	var p wire.Push
	if err := decode(w, r, &p); err != nil {
		s.refusal(w, r, err)
		return
	}
	if p.Form != s.Form && p.Form != s.Form-1 || p.Form < 1 {
		refuse(w, http.StatusUpgradeRequired,
			wire.PushRefused{Why: "form", Says: fmt.Sprintf("This collector (version %s) takes messages of form %d and the one before; the studio sends form %d. The collector is brought up to date first.", s.Version, s.Form, p.Form)})
		return
	}
	if err := check(&p); err != nil {
		s.refusal(w, r, err)
		return
	}
	taken, err := s.Record.Push(r.Context(), r.PathValue("site"), &p)
	if err != nil {
		s.refusal(w, r, err)
		return
	}
	s.counts.facts.Add(uint64(taken.Fresh))
	s.counts.repeats.Add(uint64(len(p.Facts) - taken.Fresh))
	s.counts.took.Observe(time.Since(began).Seconds())
	writeJSON(w, http.StatusOK, wire.PushTaken{Have: taken.Have, Want: taken.Want})
}

const (
	mostFacts   = 1000
	mostBoots   = 5000
	mostFirings = 100
	mostHas     = 20_000
	mostText    = 200
)

// check refuses what no studio sends, before it comes to the database, and takes out of texts what that
// cannot keep.
func check(p *wire.Push) error {
	wrong := func(form string, args ...any) error {
		return fmt.Errorf("%w: %s", ErrWrong, fmt.Sprintf(form, args...))
	}
	switch {
	case !isID(p.Life):
		return wrong("life is a UUID")
	case p.After < 0 || p.Last < 0 || p.Left < 0:
		return wrong("after, last and left are no numbers below 0")
	case len(p.Facts) > mostFacts || len(p.Boots) > mostBoots || len(p.Firings) > mostFirings ||
		len(p.Has) > mostHas || len(p.Version) > mostText:
		return wrong("more than one body holds")
	}
	before := p.After
	for i := range p.Facts {
		f := &p.Facts[i]
		switch {
		case f.Seq <= before:
			return wrong("facts[%d]: seq %d after %d", i, f.Seq, before)
		case f.Kind == "" || f.Op == "" || len(f.Kind) > 40 || len(f.Op) > 40 || len(f.ID) > mostText ||
			len(f.Boot) > mostText:
			return wrong("facts[%d]: kind, op, id or boot", i)
		case !isTime(f.At):
			return wrong("facts[%d]: at", i)
		case len(f.Body) == 0:
			return wrong("facts[%d]: no body", i)
		}
		before, f.Body = f.Seq, withoutNUL(f.Body)
	}
	for i, b := range p.Boots {
		if b.ID == "" || len(b.ID) > mostText {
			return wrong("boots[%d]: id", i)
		}
	}
	for i, f := range p.Firings {
		switch {
		case !isID(f.ID):
			return wrong("firings[%d]: id is a UUID", i)
		case f.Kiln == "" || len(f.Kiln) > 64 || f.Number < 1 || f.Revision < 1 || len(f.HeatModel) > 64 ||
			len(f.SaidNote) > 20_000:
			return wrong("firings[%d]", i)
		case !isTime(f.BeganAt) || f.OverAt != nil && !isTime(*f.OverAt):
			return wrong("firings[%d]: began_at, over_at", i)
		}
	}
	for i, h := range p.Has {
		if !isID(h.ID) {
			return wrong("has[%d]: id is a UUID", i)
		}
	}
	return nil
}

func isTime(t time.Time) bool { return t.Year() >= 1900 && t.Year() < 10_000 }

// withoutNUL puts the sign for what cannot be read in the place of \u0000, which PostgreSQL keeps in no text.
func withoutNUL(body []byte) []byte {
	nul := []byte(`\u0000`)
	if !bytes.Contains(body, nul) {
		return body
	}
	out := make([]byte, 0, len(body))
	for i := 0; i < len(body); i++ {
		switch {
		case bytes.HasPrefix(body[i:], nul):
			out = append(out, `\ufffd`...)
			i += len(nul) - 1
		case body[i] == '\\' && i+1 < len(body):
			out = append(out, body[i], body[i+1])
			i++
		default:
			out = append(out, body[i])
		}
	}
	return out
}

func (s *Server) putCurve(w http.ResponseWriter, r *http.Request) {
	revision, err := strconv.ParseInt(r.URL.Query().Get("revision"), 10, 64)
	if err != nil || revision < 1 || !isID(r.PathValue("firing")) {
		s.refusal(w, r, fmt.Errorf("%w: revision is a number from 1, and the firing a UUID", ErrWrong))
		return
	}
	data, err := unfolded(w, r, mostCurve)
	if err == nil {
		_, err = s.Draw("", data, 10) // it must read back: what does not is no curve
		if err != nil {
			err = fmt.Errorf("%w: the curve does not read back: %v", ErrWrong, err)
		}
	}
	if err == nil {
		sum := int64(0)
		if len(data) > 0 {
			sum = int64(crc32.Checksum(data, crc32.MakeTable(crc32.Castagnoli)))
		}
		err = s.Record.PutCurve(r.Context(), r.PathValue("site"), r.PathValue("firing"), revision, sum, data)
	}
	if err != nil {
		s.refusal(w, r, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

func (s *Server) putLive(w http.ResponseWriter, r *http.Request) {
	var l wire.LivePush
	err := decode(w, r, &l)
	if err == nil && (!isID(l.Life) || l.After < 0 || len(l.Kilns) > 100) {
		err = fmt.Errorf("%w: life, after or kilns", ErrWrong)
	}
	seen := map[string]bool{}
	for i := 0; err == nil && i < len(l.Kilns); i++ {
		k := l.Kilns[i]
		if k.Kiln == "" || len(k.Kiln) > 64 || len(k.State) > 40 || len(k.Kind) > 40 ||
			len(k.Channels) > 32 || k.Firing != "" && !isID(k.Firing) || seen[k.Kiln] {
			err = fmt.Errorf("%w: kilns[%d]", ErrWrong, i)
		}
		seen[k.Kiln] = true
	}
	if err == nil {
		err = s.Record.PutLive(r.Context(), r.PathValue("site"), &l)
	}
	if err != nil {
		s.refusal(w, r, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

func (s *Server) forget(w http.ResponseWriter, r *http.Request) {
	if err := s.Record.Forget(r.Context(), r.PathValue("site")); err != nil {
		s.refusal(w, r, err)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

package api

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/heatwork"
	"lidwright/kiln/message"
)

// oldLogGap is the longest silence of an old log that a line is drawn across.
const oldLogGap = 10 * time.Minute

var oldLogAsks = []string{"kiln", "kind", "atmosphere", "began_at", "time", "columns", "note", "dry_run"}

// postOldLog takes the curve of one firing in from the table of another logger, all of it or nothing.
// The id is the sender's: the same file sent again is the same firing.
func (s firingRoutes) postOldLog(w http.ResponseWriter, r *http.Request) {
	flow := http.NewResponseController(w)
	flow.SetReadDeadline(time.Now().Add(importWait))
	flow.SetWriteDeadline(time.Now().Add(importWait))
	text, err := io.ReadAll(r.Body)
	var big *http.MaxBytesError
	if errors.As(err, &big) {
		err = web.NewProblem("too-large", message.New("An old log may have 16 MB: one firing a file, please."))
	}
	var out wire.OldLog
	if err == nil {
		out, err = s.takeOldLog(r.Context(), r, text)
	}
	if err != nil {
		web.WriteProblem(w, r, s.troubles.Problem(r.Context(), err))
		return
	}
	w.Header().Set("Content-Type", "application/json")
	if len(out.Bad) > 0 && !out.DryRun {
		w.WriteHeader(http.StatusUnprocessableEntity)
	}
	w.Write(web.EncodeJSON(out))
}

// takeOldLog takes the log of a controller as a firing; a dry run only tells what it would become.
func (s firingRoutes) takeOldLog(ctx context.Context, r *http.Request, text []byte) (wire.OldLog, error) {
	q := r.URL.Query()
	out := wire.OldLog{DryRun: q.Get("dry_run") == "true", Firing: r.PathValue("id"),
		Columns: []string{}, Bad: []wire.BadRow{}}
	for name := range q {
		if !slices.Contains(oldLogAsks, name) {
			return out, web.NewProblem("unknown-parameter",
				message.New("There are {1}.", strings.Join(oldLogAsks, ", ")),
				wire.Field{Name: name, Says: message.New("not known")})
		}
	}
	said := wire.FiringBody{Kiln: q.Get("kiln"), Kind: q.Get("kind"), Atmosphere: q.Get("atmosphere"),
		Note: q.Get("note"), BeganAt: cmp.Or(q.Get("began_at"), "2000-01-01T00:00:00Z")}
	if err := usecase.ValidFiring(&said); err != nil {
		return out, err
	}
	h, _, err := s.Firings().ByHand(kiln.FiringID(out.Firing), said)
	if err != nil {
		return out, err
	}
	if _, err := uuid.Parse(out.Firing); err != nil {
		return out, web.NewProblem("out-of-range",
			message.New("The firing's id is a UUID that the sender makes."),
			wire.Field{Name: "id", Says: message.New("no UUID")})
	}
	choice := kiln.OldChoice{Time: q.Get("time"), Zone: s.Site.Zone}
	if c := q.Get("columns"); c != "" {
		choice.Temperatures = strings.Split(c, ",")
	}
	log, bad := kiln.ReadOldLog(text, choice)
	for _, b := range bad {
		out.Bad = append(out.Bad, wire.BadRow{Line: b.Line, Field: b.Field, Says: b.Why})
	}
	out.Rows, out.Readings, out.Columns = len(log.Ages), log.Readings, append(out.Columns, log.Columns...)
	if len(bad) > 0 {
		return out, nil
	}
	f := h.Firing
	switch {
	case q.Get("began_at") == "" && log.Began.IsZero():
		return out, web.NewProblem("missing", message.New("The file only counts: say when the firing began."),
			wire.Field{Name: "began_at", Says: message.New("is needed")})
	case q.Get("began_at") == "":
		f.Began.Wall = log.Began.UTC()
	}
	samples := fillFromLog(&f, log, h.Limit)
	out.BeganAt, out.Hours, out.Cone = f.Began.Wall.In(s.Site.Zone).Format(time.RFC3339), f.Length.Hours(),
		heatwork.ConeWords(f.HeatWork[log.Channel(0)])
	if f.Peak.Known() {
		peak := float64(f.Peak)
		out.PeakC = &peak
	}
	if out.DryRun {
		return out, nil
	}
	facts := map[string]any{"source": "import", "kiln": f.Kiln, "kind": f.Kind, "atmosphere": f.Atmosphere,
		"note": f.Note, "began_at": out.BeganAt, "rows": out.Rows, "readings": out.Readings,
		"hours": fmt.Sprint(f.Length)}
	k, err := s.Archive.PutFiring(ctx, f, samples, facts, usecase.Precondition{}, s.Now())
	if err != nil {
		return out, err
	}
	out.Kept, out.New = true, k.New
	s.Heat.Again(ctx, f.Kiln)
	s.Shrink.Touch()
	return out, nil
}

// fillFromLog fills in what an old log tells of a firing whose beginning is known, and gives its samples.
func fillFromLog(f *kiln.Firing, log kiln.OldLog, limit kiln.Celsius) []kiln.Sample {
	f.Source, f.Length = "import", log.Ages[len(log.Ages)-1]
	f.Began.Boot, f.Began.Trusted = usecase.TypedBoot, true
	f.Over = f.Began
	f.Over.Since, f.Over.Wall = f.Began.Since+f.Length, f.Began.Wall.Add(f.Length)
	samples := log.Samples(f.Kiln, f.Began)
	var channels []kiln.ChannelID
	for c := range log.Columns {
		channels = append(channels, log.Channel(c))
	}
	curve := kiln.Resample(samples, channels, oldLogGap)
	f.Peak, f.PeakAfter = curve.Top(log.Channel(0))
	f.ToTop, f.Gaps = f.PeakAfter, curve.Gaps
	f.HeatWork = map[kiln.ChannelID]kiln.HeatWork{}
	for c := range log.Columns {
		f.HeatWork[log.Channel(c)] = heatwork.CurveHeatWork(curve, log.Channel(c), limit, 0)
	}
	for _, t := range log.Celsius[0] {
		if t.Known() {
			f.Good++
		}
	}
	return samples
}

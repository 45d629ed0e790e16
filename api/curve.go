package api

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"lidwright/api/chart"
	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln"
	"lidwright/kiln/detect"
	"lidwright/kiln/message"
)

type firingsInput struct {
	Kiln       string `query:"kiln"`
	Kind       string `query:"kind" enum:"bisque,glaze,once,other"`
	Atmosphere string `query:"atmosphere" enum:"oxidation,reduction,unknown"`
	Status     string `query:"status" enum:"running,ended,incomplete"`
	Limit      int    `query:"limit" default:"50" minimum:"1" maximum:"500"`
	After      string `query:"after" doc:"From the answer before: next"`
}

// listOf is the part of all that was asked for. all has one more than limit where something comes
// after it; id names the last one for whoever asks again.
func listOf[T, J any](all []T, limit int, id func(T) string, j func(T) J) *body[wire.List[J]] {
	out := wire.List[J]{Items: []J{}}
	for i, one := range all {
		if i == limit {
			out.Next = usecase.Text(id(all[i-1]))
			break
		}
		out.Items = append(out.Items, j(one))
	}
	return &body[wire.List[J]]{out}
}

// getFirings lists firings by what was asked, the newest first; next tells where the following answer goes
// on.
func (s firingRoutes) getFirings(ctx context.Context, in *firingsInput) (*body[wire.List[wire.Firing]],
	error) {
	w := kiln.FiringFilter{Kiln: kiln.KilnID(in.Kiln), Kind: kiln.Kind(in.Kind),
		Atmosphere: kiln.Atmosphere(in.Atmosphere), Status: kiln.Status(in.Status)}
	if in.After != "" {
		t, err := time.Parse(time.RFC3339Nano, in.After)
		if err != nil {
			return nil, usecase.UnknownWord("after", in.After, "the next of the answer before")
		}
		w.Before = t
	}
	all, err := s.Archive.Firings(ctx, w)
	if err == nil && len(all) == 0 {
		err = s.Kilns().KnownOrRecorded(ctx, w.Kiln)
	}
	if err != nil {
		return nil, err
	}
	out := wire.List[wire.Firing]{Items: []wire.Firing{}}
	for i, f := range all {
		if i == in.Limit {
			out.Next = usecase.Text(all[i-1].Began.Wall.UTC().Format(time.RFC3339Nano))
			break
		}
		out.Items = append(out.Items, s.Firings().Firing(f,
			detect.UsualBefore(all, i, s.Known(f.Kiln).Control)))
	}
	return &body[wire.List[wire.Firing]]{out}, nil
}

func (s firingRoutes) getFiring(ctx context.Context, in *wire.FiringPath) (*body[wire.FiringWhole], error) {
	return answer(s.Firings().WholeFiring(ctx, kiln.FiringID(in.ID)))
}

type curveInput struct {
	Accept  string `header:"Accept"`
	ID      string `path:"id"`
	Points  int    `query:"points" minimum:"1" maximum:"800" doc:"At most so many steps, 1 to 800; 400 if neither is said"`
	Step    int    `query:"step" minimum:"1" maximum:"3600" doc:"Length of a step, 1 to 3600 s; 1 gives the readings themselves"`
	Channel string `query:"channel" doc:"Control probe if not said; all for every one"`
}

type curveOutput struct {
	ContentType  string `header:"Content-Type"`
	CacheControl string `header:"Cache-Control"`
	Body         []byte
}

var curveColumns = []string{"after_s", "low_c", "high_c"}

// curveRows are the steps of an envelope under curveColumns.
func curveRows(e kiln.Envelope) [][3]float64 {
	rows := make([][3]float64, len(e.After))
	for i, a := range e.After {
		rows[i] = [3]float64{*usecase.Rounded(a.Seconds(), 3), *usecase.Celsius(e.Low[i]),
			*usecase.Celsius(e.High[i])}
	}
	return rows
}

// getCurve answers in JSON or, where text/csv is asked for, in a row a step (RFC 4180).
func (s firingRoutes) getCurve(ctx context.Context, in *curveInput) (*curveOutput, error) {
	if in.Points > 0 && in.Step > 0 {
		return nil, web.NewProblem("given-twice", message.New("Give points or step, not both."),
			wire.Field{Name: "step",
				Says: message.New("points is given too")})
	}
	f, err := s.Firings().FindFiring(ctx, kiln.FiringID(in.ID))
	if err != nil {
		return nil, err
	}
	var channels []kiln.ChannelID
	switch in.Channel {
	case "all":
	case "":
		channels = []kiln.ChannelID{s.Firings().ProbeOf(f)}
	default:
		channels = []kiln.ChannelID{kiln.ChannelID(in.Channel)}
	}
	lines, gaps, err := s.Firings().Envelopes(ctx, f, channels, in.Points, time.Duration(in.Step)*time.Second)
	if err != nil {
		return nil, err
	}
	if len(lines) == 0 && in.Channel != "" && in.Channel != "all" {
		known := []string{"all"}
		for _, c := range s.Known(f.Kiln).Channels {
			known = append(known, string(c.ID))
		}
		return nil, usecase.UnknownWord("channel", in.Channel, known...)
	}
	out := &curveOutput{ContentType: "application/json"}
	if f.Status == kiln.Running {
		out.CacheControl = "no-cache" // it grows, so it is not kept ready
	}
	if web.WantsCSV(in.Accept) {
		out.ContentType, out.Body = "text/csv; charset=utf-8", curveCSV(in.ID, lines)
	} else {
		out.Body = curveText(in.ID, lines, gaps)
	}
	return out, nil
}

// curveText is a curveJSON as text. Its rows are thousands of numbers of few digits, which
// encoding/json would take ten times as long to write.
func curveText(firing string, lines []kiln.Envelope, gaps []kiln.Gap) []byte {
	out := wire.Curve{Firing: firing, Channels: []wire.ChannelCurve{}, Gaps: usecase.GapsJSON(gaps)}
	size := 512
	for _, e := range lines {
		out.StepS = usecase.Seconds(e.Step)
		out.Channels = append(out.Channels, wire.ChannelCurve{Channel: string(e.Channel),
			Columns: curveColumns,
			Rows:    [][3]float64{}})
		size += 28 * len(e.After)
	}
	const empty = `"rows":[`
	frame := web.EncodeJSON(out)
	b := make([]byte, 0, size+len(frame))
	for _, e := range lines {
		// A text in JSON has its quotes escaped, so this stands nowhere but where it is meant.
		before, after, _ := bytes.Cut(frame, []byte(empty))
		b = append(append(b, before...), empty...)
		for i := range e.After {
			if i > 0 {
				b = append(b, ',')
			}
			b = appendRow(append(b, '['), e, i)
			b = append(b, ']')
		}
		frame = after
	}
	return append(b, frame...)
}

// appendRow writes a step of an envelope under curveColumns.
func appendRow(b []byte, e kiln.Envelope, i int) []byte {
	b = append(appendFixed(b, e.After[i].Round(time.Millisecond).Milliseconds(), 3), ',')
	b = append(appendFixed(b, int64(math.Round(float64(e.Low[i])*10)), 1), ',')
	return appendFixed(b, int64(math.Round(float64(e.High[i])*10)), 1)
}

// appendFixed writes n over 10 to the power of digits, without the noughts that say nothing.
func appendFixed(b []byte, n int64, digits int) []byte {
	if n < 0 {
		b, n = append(b, '-'), -n
	}
	whole := n
	for range digits {
		whole /= 10
	}
	b = strconv.AppendInt(b, whole, 10)
	at := len(b)
	b = append(b, ".000"[:digits+1]...)
	for i := at + digits; i > at; i-- {
		b[i] = byte('0' + n%10)
		n /= 10
	}
	for b[len(b)-1] == '0' {
		b = b[:len(b)-1]
	}
	if b[len(b)-1] == '.' {
		b = b[:len(b)-1]
	}
	return b
}

func curveCSV(firing string, lines []kiln.Envelope) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	w.Write(append([]string{"firing", "channel"}, curveColumns...))
	for _, e := range lines {
		for i := range e.After {
			w.Write(append([]string{firing, string(e.Channel)},
				strings.Split(string(appendRow(nil, e, i)), ",")...))
		}
	}
	w.Flush()
	return b.Bytes()
}

// gapWords says of each gap of a firing what is known of it. Gaps below a minute are not worth
// a word; the drawing has them.
func gapWords(gaps []kiln.Gap) []message.Message {
	var words []message.Message
	for _, g := range gaps {
		switch {
		case !g.Known:
			words = append(words, message.New("After {1} a gap of unknown length: the machine was started anew and no clock could tell "+
				"how long it had been off. If the clock comes to be certain, the length is filled in. Heat work over it is a range.",
				chart.HoursMinutes(g.After)))
		case g.For >= time.Minute:
			words = append(words, message.Join(" ",
				message.New("After {1} a gap of {2} in which no reading came.",
					chart.HoursMinutes(g.After), gapLength(g.For)), gapReasons[g.Why]))
		}
	}
	return words
}

// gapReasons say why a gap came about.
var gapReasons = map[string]message.Message{
	"restart":   message.New("The program or the machine was started anew."),
	"unplugged": message.New("The line was unplugged."),
	"quiet":     message.New("Nothing was received."),
}

func gapLength(d time.Duration) string {
	if d < 2*time.Hour {
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return chart.HoursMinutes(d)
}

package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/tiles"
	"lidwright/tiles/board"
	"lidwright/tiles/lid"
)

// shared are the members that pots share, as the parameters of a question.
func sharedOfBody(b wire.BoardBody) url.Values {
	b.Galleries, b.Gauge, b.Measured = nil, nil, nil
	var members map[string]any
	if err := json.Unmarshal(web.EncodeJSON(b), &members); err != nil {
		return nil
	}
	values := url.Values{}
	for name, v := range members {
		switch v := v.(type) {
		case string:
			values.Set(name, v)
		case bool:
			values.Set(name, map[bool]string{true: "yes", false: "no"}[v])
		case float64:
			values.Set(name, strconv.FormatFloat(v, 'g', -1, 64))
		}
	}
	return values
}

// question is the board question that the body asks.
func questionOfBody(b wire.BoardBody, unit tiles.LengthUnit) (board.Question, usecase.FiringAsk, error) {
	r := newReader(sharedOfBody(b), unit)
	q, at := r.board()
	for _, g := range b.Galleries {
		one := board.Gallery{Pot: g.Pot, Opening: tiles.Millimetre(g.OpeningMM)}
		for _, c := range g.CollarMM {
			one.Collar = append(one.Collar, tiles.Millimetre(c))
		}
		q.Galleries = append(q.Galleries, one)
	}
	if g := b.Gauge; g != nil {
		q.Gauge = &board.Gauge{Collar: tiles.Millimetre(g.CollarMM), Opening: tiles.Millimetre(g.OpeningMM), Count: g.Count}
		if g.SpreadSDMM != nil {
			spread := tiles.Millimetre(*g.SpreadSDMM)
			q.Gauge.SpreadSD = &spread
		}
	}
	for _, l := range b.Measured {
		q.Measured = append(q.Measured, board.MeasuredLid{Lid: l.Lid, Width: tiles.Millimetre(l.LidMM), Stage: tiles.Stage(l.LidStage)})
	}
	return q, at, r.err()
}

// board reads what the pots of a board share, and how many lids are wanted.
func (r *reader) board() (q board.Question, at usecase.FiringAsk) {
	q.Common, at = r.common()
	q.Lids, _ = r.whole("lids", 1, board.MostGalleries+board.MostGalleries/2)
	q.WantedChance, _ = r.number("wanted_chance", 0.05, 0.999)
	q.SizesMost, _ = r.whole("sizes_most", 1, 5)
	return q, at
}

// readBoard takes a board question out of its parameters: the pots and the measured lids stand in
// a text each, a line a piece, so that a page needs one field for them.
func readBoard(values url.Values, unit tiles.LengthUnit) (board.Question, usecase.FiringAsk, error) {
	r := newReader(values, unit)
	q, at := r.board()
	for i, line := range r.pieces("galleries") {
		field := fmt.Sprintf("galleries[%d].", i)
		g := board.Gallery{Pot: line.name}
		for k, text := range line.parts {
			opening := k == 1 && q.Common.Seat != lid.Flange && q.Common.Seat != lid.Cap && q.Common.Seat != lid.Stopper
			name := map[bool]string{true: "opening_mm", false: "collar_mm"}[opening]
			if text == "" && k > 0 {
				continue
			}
			l, err := tiles.ParseLength(field+name, text, r.unit)
			switch {
			case err != nil:
				r.refuse(err)
			case opening:
				g.Opening = l.Millimetre()
			default:
				g.Collar = append(g.Collar, l.Millimetre())
			}
		}
		q.Galleries = append(q.Galleries, g)
	}
	gauge, opening, spread := r.length("gauge"), r.length("gauge_opening"), r.length("gauge_spread_sd")
	if count, counted := r.whole("gauge_count", 1, 1000); gauge != nil {
		q.Gauge = &board.Gauge{Collar: *gauge, SpreadSD: spread, Count: count}
		if opening != nil {
			q.Gauge.Opening = *opening
		}
	} else if counted || opening != nil || spread != nil {
		r.fault("gauge_mm", tiles.Missing, "is needed with what else is said of the gauge")
	}
	stage := tiles.Stage(r.word("measured_stage", stageWords()...))
	for i, line := range r.pieces("measured_lids") {
		name := line.name
		if name == "" {
			name = strconv.Itoa(i + 1)
		}
		l, err := tiles.ParseLength(fmt.Sprintf("measured_lids[%d].lid_mm", i), strings.Join(line.parts, " "), r.unit)
		if err != nil {
			r.refuse(err)
			continue
		}
		q.Measured = append(q.Measured, board.MeasuredLid{Lid: name, Width: l.Millimetre(), Stage: stage})
	}
	return q, at, r.err()
}

// pieceLine is one line of a text of pieces: "212: 104.5; 92.5", its name first where it has one.
type pieceLine struct {
	name  string
	parts []string
}

// pieces reads a text with one piece a line. Its sizes stand apart by a semicolon or a tab, or by
// blanks where all are plain numbers; so 104,5 and 3 23/32 stay whole.
func (r *reader) pieces(name string) []pieceLine {
	text, _ := r.text(name)
	var all []pieceLine
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		var p pieceLine
		if before, after, named := strings.Cut(line, ":"); named {
			p.name, line = strings.TrimSpace(before), strings.TrimSpace(after)
		}
		p.parts = strings.FieldsFunc(line, func(c rune) bool { return c == '\t' })
		if strings.ContainsAny(line, ";\t") {
			p.parts = strings.Split(strings.ReplaceAll(line, "\t", ";"), ";")
			for i := range p.parts {
				p.parts[i] = strings.TrimSpace(p.parts[i])
			}
		} else if plainNumbers(line) {
			p.parts = strings.Fields(line)
		} else {
			p.parts = []string{line}
		}
		all = append(all, p)
	}
	return all
}

// plainNumbers reports whether line is decimal numbers with blanks between them.
func plainNumbers(line string) bool {
	return strings.Trim(line, "0123456789., ") == ""
}

type boardInput struct {
	Accept string `header:"Accept" doc:"text/plain gives a line a size: count and width"`
	Body   wire.BoardBody
}

func (s lidRoutes) postBoard(ctx context.Context, in *boardInput) (*lidOutput, error) {
	q, at, err := questionOfBody(in.Body, s.Unit())
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return s.board(ctx, sharedOfBody(in.Body), q, at, in.Accept)
}

type boardQuery struct {
	Query
	Accept string `header:"Accept" doc:"text/plain gives a line a size: count and width"`
	wire.BoardParams
}

func (s lidRoutes) getBoard(ctx context.Context, in *boardQuery) (*lidOutput, error) {
	q, at, err := readBoard(in.values, s.Unit())
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	return s.board(ctx, in.values, q, at, in.Accept)
}

// board answers q, which was read from values.
func (s lidRoutes) board(ctx context.Context, values url.Values, q board.Question, at usecase.FiringAsk, accept string) (*lidOutput, error) {
	if err := s.Lids().AsForm(ctx, &q.Common, values.Has("seat_glazed")); err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	a, m, err := s.Lids().SizeBoard(ctx, q, at)
	if err != nil {
		return nil, s.problemFrom(ctx, err)
	}
	unit := asUnit(values, s.Unit())
	if !wantsText(accept) {
		return &lidOutput{ContentType: "application/json", Body: s.Lids().BoardJSON(q, a, m, unit)}, nil
	}
	if a.HeldBack != "" {
		return nil, problem("no-width", usecase.Sentence(a.HeldBack))
	}
	return &lidOutput{ContentType: "text/plain; charset=utf-8", Body: []byte(boardText(q, a, unit))}, nil
}

// boardText is a line a size, count and width; with measured lids a line a pot, its number from 1
// (or its name) and the lid, or the width still to throw.
func boardText(q board.Question, a board.Answer, unit tiles.LengthUnit) string {
	var b strings.Builder
	for _, size := range a.Sizes {
		fmt.Fprintf(&b, "%d %s\n", size.Count, bare(unit.Format(size.Size)))
	}
	for _, p := range a.Pairs {
		pot := potName(q, p.Gallery)
		if p.Lid == "" {
			fmt.Fprintf(&b, "%s throw %s\n", pot, bare(unit.Format(p.Set)))
		} else {
			fmt.Fprintf(&b, "%s lid %s\n", pot, p.Lid)
		}
	}
	return b.String()
}

func potName(q board.Question, i int) string {
	if i < len(q.Galleries) && q.Galleries[i].Pot != "" {
		return q.Galleries[i].Pot
	}
	return strconv.Itoa(i + 1)
}

// StatedBoard answers a board question that names no clay: it needs no daemon and no store.
func StatedBoard(values url.Values, unit tiles.LengthUnit, d lid.Defaults) ([]byte, error) {
	q, _, err := readBoard(values, unit)
	if err != nil {
		return nil, err
	}
	on := usecase.Stated()
	a, err := usecase.SizeBoard(q, d, on)
	if err != nil {
		return nil, err
	}
	return web.EncodeJSON((&Server{}).Lids().BoardJSON(q, a, on.At, asUnit(values, unit))), nil
}

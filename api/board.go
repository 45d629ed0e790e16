package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"reflect"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"lidwright/api/usecase"
	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/tiles"
	"lidwright/tiles/board"
	"lidwright/tiles/lid"
)

// boardBody is the board question as JSON: what the pots share, by the parameters of the table, and their
// sizes.
type boardBody struct {
	Shared map[string]any
	Pieces wire.BoardPieces
}

// UnmarshalJSON takes the pieces out, and leaves what they share.
func (b *boardBody) UnmarshalJSON(text []byte) error {
	if err := json.Unmarshal(text, &b.Pieces); err != nil {
		return err
	}
	if err := json.Unmarshal(text, &b.Shared); err != nil {
		return err
	}
	pieces := reflect.TypeFor[wire.BoardPieces]()
	for i := range pieces.NumField() {
		member, _, _ := strings.Cut(pieces.Field(i).Tag.Get("json"), ",")
		delete(b.Shared, member)
	}
	return nil
}

// Schema is that of the pieces with a member for each parameter.
func (boardBody) Schema(r huma.Registry) *huma.Schema {
	const name = "BoardBody"
	if r.Map()[name] == nil {
		made := huma.SchemaFromType(r, reflect.TypeFor[wire.BoardPieces]())
		for _, p := range parametersOf(ofBoard) {
			if p.take == nil {
				continue
			}
			one := &huma.Schema{Type: p.kind, Description: p.Doc}
			for _, w := range p.words {
				one.Enum = append(one.Enum, w)
			}
			if p.kind == huma.TypeNumber {
				one.Format = "double"
			}
			if p.most != 0 {
				one.Minimum, one.Maximum = &p.least, &p.most
			}
			one.PrecomputeMessages()
			made.Properties[p.member()] = one
		}
		made.PrecomputeMessages()
		r.Map()[name] = made
	}
	return &huma.Schema{Ref: "#/components/schemas/" + name}
}

// question is the board question that the body asks.
func (b boardBody) question(unit tiles.LengthUnit) (*asked, error) {
	r := newReader(nil, unit)
	a := &asked{given: map[string]bool{}, rimChecked: true}
	for _, p := range parametersOf(ofBoard) {
		if v := b.Shared[p.member()]; v != nil && p.take != nil {
			p.take(r, a, v)
		}
	}
	r.settle(a)
	q := a.board
	q.Common = a.Question
	for _, g := range b.Pieces.Galleries {
		one := board.Gallery{Pot: g.Pot, Opening: tiles.Millimetre(g.OpeningMM)}
		for _, c := range g.CollarMM {
			one.Collar = append(one.Collar, tiles.Millimetre(c))
		}
		q.Galleries = append(q.Galleries, one)
	}
	if g := b.Pieces.Gauge; g != nil {
		q.Gauge = &board.Gauge{Collar: tiles.Millimetre(g.CollarMM), Opening: tiles.Millimetre(g.OpeningMM),
			Count: g.Count}
		if g.SpreadSDMM != nil {
			spread := tiles.Millimetre(*g.SpreadSDMM)
			q.Gauge.SpreadSD = &spread
		}
	}
	for _, l := range b.Pieces.Measured {
		q.Measured = append(q.Measured, board.MeasuredLid{Lid: l.Lid, Width: tiles.Millimetre(l.LidMM),
			Stage: tiles.Stage(l.LidStage)})
	}
	a.board = q
	return a, r.err()
}

// readBoard takes a board question out of its parameters: the pots and the measured lids stand in
// a text each, a line a piece, so that a page needs one field for them.
func readBoard(values url.Values, unit tiles.LengthUnit) (*asked, error) {
	r := newReader(values, unit)
	a := r.readAll(ofBoard)
	q := a.board
	q.Common = a.Question
	for i, line := range r.pieces("galleries") {
		field := fmt.Sprintf("galleries[%d].", i)
		g := board.Gallery{Pot: line.name}
		for k, text := range line.parts {
			opening := k == 1 && q.Common.Seat != lid.Flange && q.Common.Seat != lid.Cap &&
				q.Common.Seat != lid.Stopper
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
	if l, _ := tiles.LimitOf("gauge_spread_sd"); spread != nil {
		r.within("gauge_spread_sd", float64(*spread), l.Least, l.Most)
	}
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
		l, err := tiles.ParseLength(fmt.Sprintf("measured_lids[%d].lid_mm", i), strings.Join(line.parts, " "),
			r.unit)
		if err != nil {
			r.refuse(err)
			continue
		}
		q.Measured = append(q.Measured, board.MeasuredLid{Lid: name, Width: l.Millimetre(), Stage: stage})
	}
	a.board = q
	return a, r.err()
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
	Body   boardBody
}

func (s lidRoutes) postBoard(ctx context.Context, in *boardInput) (*either, error) {
	q, err := in.Body.question(s.Unit())
	if err != nil {
		return nil, err
	}
	return s.board(ctx, q, in.Accept)
}

type boardQuery struct {
	Query
	Accept string `header:"Accept" doc:"text/plain gives a line a size: count and width"`
}

func (s lidRoutes) getBoard(ctx context.Context, in *boardQuery) (*either, error) {
	q, err := readBoard(in.values, s.Unit())
	if err != nil {
		return nil, err
	}
	return s.board(ctx, q, in.Accept)
}

// sizeBoard answers a board question; what it leaves open is as the newest card of the form has it.
func (s lidRoutes) sizeBoard(ctx context.Context, q *asked) (board.Answer, usecase.FiringMeant, error) {
	return s.Lids().SizeBoard(ctx, q.board, q.cards(), q.at)
}

// board answers q in JSON or, where that is asked for, in text.
func (s lidRoutes) board(ctx context.Context, q *asked, accept string) (*either, error) {
	a, m, err := s.sizeBoard(ctx, q)
	if err != nil {
		return nil, err
	}
	if !wantsText(accept) {
		return inJSON(s.Lids().BoardJSON(q.board, a, m, q.unit)), nil
	}
	if !a.HeldBack.IsZero() {
		return nil, web.NewProblem("no-width", message.Stopped(a.HeldBack))
	}
	return inText(boardText(q.board, a, q.unit)), nil
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
	q, err := readBoard(values, unit)
	if err != nil {
		return nil, err
	}
	a, err := usecase.SizeStatedBoard(q.board, d)
	if err != nil {
		return nil, err
	}
	return web.EncodeJSON((&usecase.Studio{}).Lids().BoardJSON(q.board, a, usecase.NoFiring(), q.unit)), nil
}

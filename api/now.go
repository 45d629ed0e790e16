package api

import (
	"context"
	"fmt"
	"strings"

	"lidwright/api/web"
	"lidwright/api/wire"
	"lidwright/kiln/message"
	"lidwright/kiln/record"
)

type nowInput struct {
	Accept string `header:"Accept"`
	Kiln   string `query:"kiln" doc:"This kiln alone; as text it must be named where there are several"`
}

type kilnNowInput struct {
	wire.KilnPath
	Accept string `header:"Accept"`
}

func (s kilnRoutes) getNow(ctx context.Context, in *nowInput) (*either, error) {
	items := s.Kilns().KilnsNow(ctx)
	if in.Kiln != "" {
		one, err := kilnNamed(items, in.Kiln)
		if err != nil {
			return nil, err
		}
		items = []wire.KilnNow{one}
	}
	switch {
	case !wantsText(in.Accept):
		return inJSON(wire.Now{Items: items}), nil
	case len(items) > 1:
		return nil, whichKiln(items)
	case len(items) == 0:
		return nil, web.NewProblem("kiln-not-heard", message.New("There is no kiln in the settings."))
	}
	return temperatureText(items[0])
}

func (s kilnRoutes) getKilnNow(ctx context.Context, in *kilnNowInput) (*either, error) {
	one, err := kilnNamed(s.Kilns().KilnsNow(ctx), in.Kiln)
	if err != nil {
		return nil, err
	}
	if wantsText(in.Accept) {
		return temperatureText(one)
	}
	return inJSON(one), nil
}

func kilnNamed(items []wire.KilnNow, name string) (wire.KilnNow, error) {
	for _, k := range items {
		if k.Kiln == name {
			return k, nil
		}
	}
	return wire.KilnNow{}, fmt.Errorf("%s: %w", name, record.ErrNoKiln)
}

// temperatureText is the bare temperature in °C of one kiln, to a tenth. Without a fresh reading there
// is none: another kiln's, or an old one, would read as if this kiln were cold.
func temperatureText(k wire.KilnNow) (*either, error) {
	if k.TemperatureC == nil {
		return nil, web.NewProblem("kiln-not-heard", message.New("{1} has no fresh reading.", k.Kiln))
	}
	return inText(fmt.Sprintf("%.1f\n", *k.TemperatureC)), nil
}

// whichKiln refuses a bare number that could be of any of several kilns.
func whichKiln(items []wire.KilnNow) *web.Problem {
	var names []string
	for _, k := range items {
		names = append(names, k.Kiln)
	}
	says := message.New("there are several kilns: {1}", strings.Join(names, ", "))
	return web.NewProblem("which-kiln", message.New("Name one, as /v1/now/{1} or ?kiln={1}: {2}.", names[0],
		says), wire.Field{Name: "kiln", Says: says})
}

func (s kilnRoutes) getLines(context.Context, *struct{}) (*body[wire.Lines], error) {
	return &body[wire.Lines]{wire.Lines{Items: s.Kilns().LinesNow()}}, nil
}

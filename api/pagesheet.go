package api

import (
	"fmt"
	"image/color"
	"net/http"
	"net/url"
	"strings"

	"github.com/boombuler/barcode/qr"

	"lidwright/api/pages"
	"lidwright/api/wire"
	"lidwright/tiles"
)

// qrSVG draws a QR code that opens an address: black on white with the quiet zone of four modules
// that ISO/IEC 18004 asks for (from memory), at the lower of its two middle levels of correction.
func qrSVG(address, title string) (string, error) {
	code, err := qr.Encode(address, qr.M, qr.Auto)
	if err != nil {
		return "", fmt.Errorf("draw a QR code of %q: %w", address, err)
	}
	const quiet = 4
	size := code.Bounds().Dx()
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="qr" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" aria-label="%s"><path fill="#fff" d="M0 0h%dv%dH0z"/><path fill="#000" d="`,
		size+2*quiet, size+2*quiet, title, size+2*quiet, size+2*quiet)
	for y := range size {
		for x := range size {
			if color.GrayModel.Convert(code.At(x, y)).(color.Gray).Y < 128 {
				fmt.Fprintf(&b, "M%d %dh1v1h-1z", x+quiet, y+quiet)
			}
		}
	}
	b.WriteString(`"/></svg>`)
	return b.String(), nil
}

// barSheetPage is for print: codes with a QR that opens the entry of each bar, and a table to write in.
// Bars are named by codes, by clay, or by load; of a load the table has its stage.
func (s barRoutes) barSheetPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	f := tiles.BarFilter{Clay: tiles.ClayID(q.Get("clay")), Load: q.Get("load"), Limit: 200}
	for _, c := range strings.FieldsFunc(q.Get("codes"), func(c rune) bool { return c == ' ' || c == ',' }) {
		code, err := s.Codes.Parse("codes", c)
		if err != nil {
			return err
		}
		f.Codes = append(f.Codes, code)
	}
	bars, err := s.Archive.Bars(r.Context(), f, s.Channel)
	if err != nil {
		return err
	}
	type row struct {
		wire.BarJSON
		QR string
	}
	data := struct {
		page
		Bars    []row
		Address string
	}{page: s.page(r.Context(), "bars"), Address: kilnRoutes(s).ownAddress(r)}
	for _, b := range bars {
		drawn, err := qrSVG(data.Address+"/bar/"+string(b.Code),
			s.localeOf(r.Context()).T("opens the entry of bar {1}", b.Code))
		if err != nil {
			return err
		}
		data.Bars = append(data.Bars, row{s.Bars().BarJSON(b.Bar), drawn})
	}
	return s.render(w, "barsheet", data)
}

const listed = 50 // bars or loads on one page of their list

// allBarsPage lists bars by code: of a clay, or those that wait to be measured.
func (s barRoutes) allBarsPage(w http.ResponseWriter, r *http.Request) error {
	if code := r.URL.Query().Get("code"); code != "" { // asked for by name
		bar, err := s.Bars().Bar(r.Context(), wire.BarPath{Bar: code})
		if err != nil {
			return err
		}
		http.Redirect(w, r, "/bar/"+url.PathEscape(string(bar.Code)), http.StatusSeeOther)
		return nil
	}
	q := r.URL.Query()
	data := pages.AllBarsPage{Frame: s.page(r.Context(), "bars").Frame, Clay: q.Get("clay")}
	l := s.pages.Locale(data.Frame.Speak)
	clays, err := s.Clays().List(r.Context())
	if err != nil {
		return err
	}
	data.Waiting = []pages.Tab{tab(r.URL, "waiting", "", l.T("all")), tab(r.URL, "waiting", "yes",
		l.T("to measure"))}
	data.Clays = []pages.Tab{tab(r.URL, "clay", "", l.T("every clay"))}
	for _, c := range clays {
		one := tab(r.URL, "clay", c.Clay, c.Name)
		one.Name = true
		data.Clays = append(data.Clays, one)
	}
	bars, err := s.Archive.Bars(r.Context(), tiles.BarFilter{Clay: tiles.ClayID(data.Clay), Waiting: q.Get("waiting") == "yes", After: tiles.Code(strings.ToUpper(q.Get("after"))), Limit: listed + 1}, s.Channel)
	if err != nil {
		return err
	}
	for i, b := range bars {
		if i == listed {
			data.More = withQuery(r.URL.String(), "after", data.Bars[i-1].Bar)
			break
		}
		data.Bars = append(data.Bars, s.Bars().BarJSON(b.Bar))
	}
	return s.show(w, data)
}

// tab is a list with one of the members of its address set, from its beginning; an empty value takes it out.
func tab(address *url.URL, name, value, text string) pages.Tab {
	q := address.Query()
	on := q.Get(name) == value
	q.Del("after")
	q.Set(name, value)
	if value == "" {
		q.Del(name)
	}
	to := address.Path
	if len(q) > 0 {
		to += "?" + q.Encode()
	}
	return pages.Tab{Text: text, Href: to, On: on}
}

package collectorpages

import (
	"bytes"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"

	"golang.org/x/net/html"
)

// notHere are the first parts of paths of a studio's own pages that speak of what its kilns do at this
// moment, or of its settings: what arrived cannot answer them.
var notHere = map[string]bool{"": true, "kiln": true, "settings": true, "session": true, "load": true,
	"door": true, "by-hand": true, "kilns": true, "class": true,
	"speak": true, "healthz": true, "readyz": true, "metrics": true, "print": true,
	"just": true, "more": true}

// recordPage shows what arrived of a studio as its own pages show it: by the same code, out of a record that
// was made again of what it sent. Nothing can be entered.
func (s *Server) recordPage(w http.ResponseWriter, r *http.Request) {
	site, path := r.PathValue("site"), r.PathValue("path")
	if s.Mirror == nil || !isID(site) {
		nothingHere(w, r)
		return
	}
	first, _, _ := strings.Cut(path, "/")
	if notHere[first] || path == "bars" || first == "v1" && strings.HasPrefix(path, "v1/now") ||
		strings.HasPrefix(path,
			"v1/stream") {
		http.Redirect(w, r, "/studios/"+site, http.StatusSeeOther)
		return
	}
	one, err := s.Shown.Site(r.Context(), site)
	if errors.Is(err, ErrNoSite) {
		nothingHere(w, r)
		return
	}
	if err != nil {
		s.trouble(w, r, err)
		return
	}
	answers, release, err := s.Mirror(r.Context(), site)
	if err != nil {
		s.trouble(w, r, err)
		return
	}
	defer release()
	ask := r.Clone(r.Context())
	ask.URL = &url.URL{Path: "/" + path, RawQuery: r.URL.RawQuery}
	ask.RequestURI, ask.Host = "", "localhost"
	ask.Header = http.Header{"Accept": r.Header["Accept"], "Accept-Language": r.Header["Accept-Language"]}
	said := httptest.NewRecorder()
	answers.ServeHTTP(said, ask)
	under := "/studios/" + site
	h := w.Header()
	for _, name := range []string{"Content-Type", "Content-Security-Policy"} {
		if v := said.Header().Get(name); v != "" {
			h.Set(name, v)
		}
	}
	if to := said.Header().Get("Location"); strings.HasPrefix(to, "/") && !strings.HasPrefix(to, "//") {
		h.Set("Location", under+"/record"+to)
	}
	w.WriteHeader(said.Code)
	if !strings.HasPrefix(h.Get("Content-Type"), "text/html") {
		w.Write(said.Body.Bytes())
		return
	}
	says := s.pages.Locale(s.frame(r, "").Speak).T("This is what arrived here. Nothing can be entered here. Look at the kiln.")
	if err := moved(w, said.Body, under, `<p class="waits"><a href="`+under+`">`+html.EscapeString(one.Name)+
		`</a> · <strong>`+html.EscapeString(says)+`</strong></p>`); err != nil {
		slog.ErrorContext(r.Context(), "a page was not shown", "path", r.URL.Path, "err", err)
	}
}

// moved writes a page of a studio as one under another address: its links lead there, what enters something
// is taken out with the script, and banner stands first.
func moved(w io.Writer, page io.Reader, under, banner string) error {
	z := html.NewTokenizer(page)
	var out bytes.Buffer
	skip := "" // the element that is left out until its end
	// where the last heading begins, and whether it ended and nothing stands below it
	heading, below := -1, false
	for {
		kind := z.Next()
		if kind == html.ErrorToken {
			if err := z.Err(); !errors.Is(err, io.EOF) {
				return err
			}
			_, err := w.Write(out.Bytes())
			return err
		}
		raw := string(z.Raw())
		t := z.Token()
		switch {
		case skip != "":
			if kind == html.EndTagToken && t.Data == skip {
				skip = ""
			}
			continue
		case kind != html.StartTagToken && kind != html.SelfClosingTagToken:
			if ends := kind == html.EndTagToken && isHeading(t.Data); ends {
				below = true
			} else if below && (kind != html.TextToken || strings.TrimSpace(raw) != "") {
				heading, below = -1, false
			}
			out.WriteString(raw)
			continue
		case t.Data == "script", t.Data == "form" && strings.EqualFold(attribute(t, "method"), "post"):
			if skip = t.Data; heading >= 0 && below && skip == "form" {
				out.Truncate(heading) // it headed the form
				heading, below = -1, false
			}
			continue
		}
		if below = false; isHeading(t.Data) {
			heading = out.Len()
		}
		changed := false
		for i, a := range t.Attr {
			if (a.Key == "href" || a.Key == "src" || a.Key == "action") && strings.HasPrefix(a.Val,
				"/") && !strings.HasPrefix(a.Val, "//") {
				t.Attr[i].Val, changed = under+"/record"+a.Val, true
				if a.Val == "/" {
					t.Attr[i].Val = under
				}
			}
		}
		if changed {
			out.WriteString(t.String())
		} else {
			out.WriteString(raw)
		}
		if t.Data == "main" {
			out.WriteString(banner)
		}
	}
}

func isHeading(element string) bool { return element == "h2" || element == "h3" || element == "h4" }

func attribute(t html.Token, name string) string {
	for _, a := range t.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

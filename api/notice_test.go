package api

import (
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"lidwright/api/usecase"
)

// told is what tells people in tests: it only counts.
type told struct {
	receivers []string
	tests     int
	last      []usecase.NoticeTold
}

func (o *told) Last(context.Context, int) ([]usecase.NoticeTold, error) { return o.last, nil }
func (o *told) Test(context.Context) error                              { o.tests++; return nil }
func (o *told) Receivers() []string                                     { return o.receivers }
func (o *told) Counts() map[[2]string]uint64 {
	return map[[2]string]uint64{{"kiln.quiet", "sent"}: 3}
}

func TestNotices(t *testing.T) {
	s, o := studioOfNobody(), &told{}
	s.Notices = o
	srv := serve(t, s)
	if res, body := ask(t, "POST", srv.URL+"/v1/notices/test", "", ""); res.StatusCode != 422 ||
		!strings.Contains(body, "notice.webhook.NAME") || o.tests != 0 {
		t.Errorf("without a receiver: %d %s", res.StatusCode, body)
	}
	o.receivers = []string{"phone"}
	o.last = []usecase.NoticeTold{{ID: "0193c0c1-0000-7000-8000-00000000000a", Event: "kiln.quiet",
		State: "began", At: "2026-02-01T22:10:05+01:00", Kiln: "big-blue", Says: "<b>words</b>",
		Link: "/kiln/big-blue",
		Receivers: []usecase.NoticeFate{{Receiver: "phone", Outcome: "gave_up", Tries: 5, Answer: "500",
			At: time.Date(2026, 2, 1, 22, 0, 0, 0, time.UTC)}}}}
	if res, body := ask(t, "POST", srv.URL+"/v1/notices/test", "", ""); res.StatusCode != 200 ||
		o.tests != 1 || !strings.Contains(body, `"outcome":"gave_up"`) {
		t.Errorf("a test: %d %s", res.StatusCode, body)
	}
	if res, body := ask(t, "GET", srv.URL+"/v1/notices", "", ""); res.StatusCode != 200 ||
		!strings.Contains(body, `"receivers":["phone"]`) {
		t.Errorf("the list: %d %s", res.StatusCode, body)
	}
	for path, want := range map[string][]string{
		"/notices": {"phone: given up after 5 tries (500)", "&lt;b&gt;words", "never a safety device",
			`action="/settings/test"`},
		"/settings": {"They go to phone.", `href="/notices"`, "never a safety device"}} {
		_, body := ask(t, "GET", srv.URL+path, "", "")
		for _, w := range want {
			if !strings.Contains(body, w) {
				t.Errorf("%s: no %s in %s", path, w, body)
			}
		}
	}
	c := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error {
		return http.ErrUseLastResponse
	}}
	res, err := c.Post(srv.URL+"/settings/test", "application/x-www-form-urlencoded", nil)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != 303 || o.tests != 2 {
		t.Errorf("the button: %d, %d tests", res.StatusCode, o.tests)
	}
	if _, body := ask(t, "GET", srv.URL+"/metrics", "", ""); !strings.Contains(body,
		`lidwright_notices_total{kind="kiln.quiet",outcome="sent"} 3`) {
		t.Errorf("no notices in the metrics: %s", body)
	}
}

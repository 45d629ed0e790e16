package daemon

import (
	"context"
	"fmt"
	"math"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"lidwright/config"
	"lidwright/kiln"
	"lidwright/kiln/practice"
)

// studio is a daemon of this process on a loopback port, with practice kilns on pseudo-terminals
// if it has some. Its clock runs twenty times as fast as ours.
type studio struct {
	t    testing.TB
	d    *Daemon
	site string
	stop context.CancelFunc // ends the daemon
	ends context.CancelFunc // ends what the kilns say
}

const studioFast = 20

// openStudio opens one without anything in it, or with one kiln, two clays and four pairs of firings.
func openStudio(t testing.TB, settings string, furnished bool) *studio {
	t.Helper()
	if !furnished {
		return openStudioOf(t, settings, nil, fastClock())
	}
	of := PracticeStudios()[0]
	return openStudioOf(t, settings, &of, fastClock())
}

// openWholeStudio opens the one that is shown to whoever tries the program: two kilns and four months of
// work.
func openWholeStudio(t testing.TB, clock func() kiln.Stamp) *studio {
	t.Helper()
	of := WholePracticeStudio()
	return openStudioOf(t, "", &of, clock)
}

// fastClock begins now and runs as fast as studios do.
func fastClock() func() kiln.Stamp { return clockFrom(time.Now(), math.MaxInt64) }

// clockFrom shows a time of day at first, runs as fast as studios do, and stands still once it has gone so
// far.
func clockFrom(shows time.Time, far time.Duration) func() kiln.Stamp {
	start := time.Now()
	return func() kiln.Stamp {
		since := min(time.Since(start)*studioFast, far)
		return kiln.Stamp{Boot: "browser", Since: 2000*time.Hour + since,
			Wall: shows.Add(since).UTC(), Trusted: true}
	}
}

func openStudioOf(t testing.TB, settings string, of *PracticeStudio, clock func() kiln.Stamp) *studio {
	t.Helper()
	folder := t.TempDir()
	s := &studio{t: t}
	file := filepath.Join(folder, "lidwright.toml")
	text := fmt.Sprintf("[store]\nfolder=%q\n[listen]\naddress=\"127.0.0.1:8573\"\nconnections=256\nconnections_per_address=200\n%s", filepath.Join(folder, "store"), settings)
	var plugs []*practice.Plug
	if of != nil {
		text = "[site]\nname=\"practice studio\"\nzone=\"Europe/London\"\natmosphere=\"oxidation\"\n[firing]\nquiet_after=\"300s\"\n" + text
		for _, k := range []kiln.KilnID{of.Kiln, of.Cold} {
			if k == "" {
				continue
			}
			plug := &practice.Plug{Link: filepath.Join(folder, string(k))}
			if err := plug.Plug(); err != nil {
				t.Fatal(err)
			}
			plugs = append(plugs, plug)
			text += fmt.Sprintf("[kiln.%[1]s]\nport=%[2]q\nreply=\"columns\"\nevery=\"20s\"\nlimit_c=1290\n[kiln.%[1]s.channel.1]\nfrom=\"1\"\nunit=\"c\"\n[kiln.%[1]s.probe.1]\ntype=\"K\"\n", k, plug.Link)
		}
	}
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	cfg, err := config.Load(file, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	s.stop = stop
	if s.d, err = New(ctx, cfg, "test"); err != nil {
		t.Fatal(err)
	}
	// a port that is free
	s.d.Listen = func(string) (net.Listener, error) { return net.Listen("tcp", "127.0.0.1:0") }
	s.d.Now = clock
	s.d.Tick = func(ctx context.Context) <-chan time.Time {
		tick := time.NewTicker(200 * time.Millisecond)
		context.AfterFunc(ctx, tick.Stop)
		return tick.C
	}
	said, ends := context.WithCancel(ctx)
	s.ends = ends
	if of != nil {
		p, err := s.d.FurnishAs(ctx, *of)
		if err != nil {
			t.Fatal(err)
		}
		go p.PlayOn(said, plugs[0], s.d.Now)
		if len(plugs) > 1 {
			go ColdKiln(s.d.Now()).PlayOn(said, plugs[1], s.d.Now)
		}
	}
	ready, ended := make(chan string, 1), make(chan error, 1)
	s.d.Ready = func(address string) { ready <- address }
	go func() { ended <- s.d.Run(ctx) }()
	t.Cleanup(func() { stop(); <-ended })
	select {
	case a := <-ready:
		s.site = "http://" + a
	case err := <-ended:
		t.Fatal(err)
	}
	return s
}

// browser opens Debian's Chromium with nothing of its own going out. Each tab lives until its test ends.
func openBrowser(t testing.TB) context.Context {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Fatalf("the browser tests need Debian's chromium: make packages. %v", err)
	}
	options := append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]), chromedp.ExecPath(path),
		chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()),
		chromedp.WSURLReadTimeout(time.Minute), chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true), chromedp.Flag("accept-lang", "en-GB"))
	all, cancelAll := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, cancel := chromedp.NewContext(all)
	t.Cleanup(func() { chromedp.Cancel(ctx); cancel(); cancelAll() })
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("open the browser: %v", err)
	}
	return ctx
}

// tab is one page of the browser.
type tab struct {
	testing.TB
	ctx  context.Context
	site string
}

func (s *studio) tab(t testing.TB, browser context.Context, width, height int64) *tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser)
	t.Cleanup(cancel)
	p := &tab{t, ctx, s.site}
	if err := chromedp.Do(ctx); err != nil { // ties the browser's tab to this context
		t.Fatalf("open a tab: %v", err)
	}
	p.do(chromedp.EmulateViewport(width, height))
	return p
}

// did does one thing in the page and gives what comes of it.
func did[T any](p *tab, a chromedp.Action[T]) T {
	p.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, hanging)
	defer cancel()
	v, err := chromedp.Run(ctx, a)
	if err != nil {
		where, _ := chromedp.Run(p.ctx, chromedp.Location())
		p.Fatalf("at %s: %v", where, err)
	}
	return v
}

func (p *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	p.Helper()
	did(p, chromedp.Steps(steps...))
}

func (p *tab) open(path string) { p.Helper(); p.do(chromedp.Navigate(p.site + path)) }

// press clicks and waits for the page that follows.
func (p *tab) press(selector string) {
	p.Helper()
	p.follow("press "+selector, chromedp.Click(selector))
}

// follow does something and waits for the page that follows.
func (p *tab) follow(what string, step chromedp.Action[chromedp.Void]) {
	p.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, hanging)
	defer cancel()
	if _, err := chromedp.RunResponse(ctx, step); err != nil {
		p.Fatalf("%s: %v", what, err)
	}
}

func (p *tab) text(selector string) string {
	p.Helper()
	return asRead(did(p, chromedp.Text(selector)))
}

func evaluated[T any](p *tab, js string) T {
	p.Helper()
	return did(p, chromedp.Evaluate[T](js))
}

// until waits for something that a script in the page sees.
func (p *tab) until(what, js string) {
	p.Helper()
	for end := time.Now().Add(hanging); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		// an error: the page is being loaded
		if so, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](js)); err == nil && so {
			return
		}
	}
	p.Fatalf("waited in vain for: %s; the page says %.600s", what, p.text("main"))
}

// show keeps a picture of the page as test output; it is looked at by people, never compared.
func (p *tab) show(name string, whole bool) {
	p.Helper()
	shoot := chromedp.CaptureScreenshot()
	if whole {
		shoot = chromedp.FullScreenshot(100)
	}
	picture := did(p, shoot)
	folder := filepath.Join("..", "testout", "pages")
	if err := os.MkdirAll(folder, 0o755); err != nil {
		p.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, name+".png"), picture, 0o644); err != nil {
		p.Fatal(err)
	}
}

// media shows the page as somebody with these wishes sees it.
func (p *tab) media(scheme, contrast string) {
	p.Helper()
	wishes := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
		{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-contrast", Value: contrast}}}
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, wishes)
		return err
	}))
}

// TestPartsGrow sees the curve and the figures of a firing that goes on drawn anew by the server, without a
// load of the page and in its language. What the script does each minute it does each second here.
func TestPartsGrow(t *testing.T) {
	t.Parallel()
	s := openStudio(t, "", true)
	p := s.tab(t, openBrowser(t), 390, 844)
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, cdppage.AddScriptToEvaluateOnNewDocument,
			cdppage.AddScriptToEvaluateOnNewDocumentParams{
				Source: `const every = setInterval; window.setInterval = (f, ms) => every(f, ms === 60000 ? 1000 : ms);`})
		return err
	}))
	p.open("/speak")
	p.do(chromedp.Click("[name=language][value=de]"))
	p.press("main button.go")
	for path, parts := range map[string][]string{"/kiln/big-blue": {"#curve svg", "dl[data-grows]"},
		"/": {"[data-grows] svg"}} {
		p.open(path)
		evaluated[bool](p, `window.sameLoad = true`)
		for _, part := range parts {
			shows := fmt.Sprintf(`document.querySelector(%q).outerHTML`, part)
			before := evaluated[string](p, shows)
			p.until(part+" of "+path+" to grow", fmt.Sprintf(`%s !== %q`, shows, before))
		}
		if !evaluated[bool](p, `window.sameLoad === true`) {
			t.Errorf("%s was loaded again", path)
		}
		if left := evaluated[[]string](p, inEnglish(t)); len(left) > 0 {
			t.Errorf("%s grew in English: %q", path, left)
		}
	}
}

// TestFirstVisit sees the first view of the Wareboard fit a phone, and a live firing move without a
// new load of the page.
func TestFirstVisit(t *testing.T) {
	t.Parallel()
	s := openStudio(t, "", true)
	browser := openBrowser(t)
	for _, size := range [][2]int64{{360, 740}, {1280, 800}} {
		p := s.tab(t, browser, size[0], size[1])
		p.open("/")
		if n := evaluated[int](p, `[...document.querySelectorAll("main > section, main > .tile")].filter(e => e.getBoundingClientRect().top < innerHeight).length`); n < 1 || n > 4 {
			t.Errorf("%d blocks in the first view at %d", n, size[0])
		}
		if size[0] < 500 {
			if n := evaluated[int](p, `performance.getEntriesByType("resource").length + 1`); n > 10 {
				t.Errorf("%d requests for the first view", n)
			}
			if b := evaluated[int](p, `[...performance.getEntriesByType("resource"), ...performance.getEntriesByType("navigation")].reduce((sum, e) => sum + e.transferSize, 0)`); b < 1000 || b > 100_000 {
				t.Errorf("%d bytes for the first view", b)
			}
		}
		p.open("/kiln/big-blue")
		shows := `document.querySelector("[data-live=temperature]").innerText`
		before := evaluated[string](p, shows)
		p.until("the firing to move", fmt.Sprintf(`%s !== %q`, shows, before))
		p.show(fmt.Sprintf("walk-kiln-live-%d", size[0]), false)
	}
	// The line falls silent: the figure is struck through, never left as if fresh.
	p := s.tab(t, browser, 360, 740)
	p.open("/kiln/big-blue")
	s.ends()
	p.until("the figure to be struck", `!!document.querySelector("[data-live=temperature] .struck")`)
	p.until("that nothing is read", `document.querySelector("[data-live=state]").innerText.trim() === "no reading"`)
	p.show("walk-kiln-quiet", true)
}

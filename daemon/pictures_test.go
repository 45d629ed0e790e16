package daemon

import (
	"bytes"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

var (
	pictures = flag.Bool("pictures", false, "make the pictures of TestPictures, in testout/pictures")
	update   = flag.Bool("update", false, "make them, and write those of README anew")
)

const (
	keptPictures = "../.pictures"
	keptBytes    = 300_000 // of all kept pictures together, at most
)

// inPictures are the ten pages that are looked at, and which of them README shows from a phone, in its order.
var inPictures = []struct {
	name   string
	readme bool
	open   func(p *tab)
}{
	{"home", true, func(p *tab) { p.open("/") }},
	{"bars", true, (*tab).openBars},
	{"lid", true, func(p *tab) { p.open("/lid?collar=104.5&opening=92.5&clay=tern") }},
	{"kiln", true, func(p *tab) { p.open("/kiln/big-blue") }},
	{"clay", true, func(p *tab) { p.open("/clay/tern") }},
	{"firing", false, func(p *tab) {
		p.open("/kiln/big-blue")
		p.open(evaluated[string](p, `document.querySelector('main .rows a[href^="/firing/"]').getAttribute("href")`))
	}},
	{"board", false, func(p *tab) {
		p.open("/lid/board?galleries=104.5%0A104%0A105%0A104.5%0A103.5%0A105%0A104%0A104.5&opening=92.5&clay=tern")
	}},
	{"pots", false, func(p *tab) { p.open("/pots") }},
	{"log", false, func(p *tab) { p.open("/by-hand") }},
	{"wall", false, func(p *tab) { p.open("/wall") }},
}

// openBars opens the bars that wait on Home, saves a length of one and types that of the next.
func (p *tab) openBars() {
	p.Helper()
	p.open("/")
	p.open(evaluated[string](p, `document.querySelector('.kiln[data-kiln="little-red"] a.btn.wide').getAttribute("href")`))
	code := p.atHand()
	p.keys("87.62")
	p.save()
	p.until("the next bar", fmt.Sprintf(`document.querySelector(".four .chip[aria-current]").dataset.bar !== %q`, code))
	p.keys("87.4")
}

// TestPictures shows ten pages of the whole practice studio, on a phone and on a desk, on an evening that
// never changes. It makes them when it is asked to (-pictures, -update, or a soak); whoever asked looks at
// them. Those at the top of README are kept: it always holds that they are there, are as big as a phone and
// small as files.
func TestPictures(t *testing.T) {
	t.Parallel()
	if *pictures || *update || os.Getenv("LIDWRIGHT_SOAK") != "" {
		evening := time.Date(2026, 11, 29, 22, 20, 0, 0, time.UTC)
		s, browser := openWholeStudio(t, clockFrom(evening, 6*time.Minute)), openBrowser(t)
		s.d.Invented()
		waitFor(t, "both kilns to be heard", func() bool {
			var now struct{ Items []struct{ Fresh bool } }
			s.get("/v1/now", &now)
			return len(now.Items) == 2 && now.Items[0].Fresh && now.Items[1].Fresh
		})
		waitFor(t, "the clock to stand", func() bool {
			return !s.d.Now().Wall.Before(evening.Add(6 * time.Minute))
		})
		for _, size := range []struct {
			name       string
			wide, high int64
		}{{"desk", 1280, 900}, {"phone", 390, 844}} {
			p := s.tab(t, browser, size.wide, size.high)
			for _, in := range inPictures {
				in.open(p)
				if got := evaluated[int](p,
					`performance.getEntriesByType("navigation")[0].responseStatus`); got != 200 {
					t.Errorf("%s: %d", in.name, got)
				}
				shot := p.palettePNG()
				write(t, filepath.Join("../testout/pictures", in.name+"-"+size.name+".png"), shot)
				if *update && in.readme && size.name == "phone" {
					write(t, filepath.Join(keptPictures, in.name+".png"), shot)
				}
			}
		}
	}
	readme, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	var shown []string
	image := regexp.MustCompile(`<img src="\.pictures/([^"]+)" [^>]*alt="[^"]{20,}"`)
	for _, m := range image.FindAllSubmatch(readme, -1) {
		shown = append(shown, string(m[1]))
	}
	var want []string
	for _, in := range inPictures {
		if in.readme {
			want = append(want, in.name+".png")
		}
	}
	if !slices.Equal(shown, want) {
		t.Errorf("README shows %v, want %v", shown, want)
	}
	whole := 0
	kept, err := os.ReadDir(keptPictures)
	if err != nil || len(kept) != len(want) {
		t.Errorf("%d pictures are kept, want %d: %v", len(kept), len(want), err)
	}
	for _, k := range kept {
		b, err := os.ReadFile(filepath.Join(keptPictures, k.Name()))
		if err != nil {
			t.Fatal(err)
		}
		whole += len(b)
		c, err := png.DecodeConfig(bytes.NewReader(b))
		if _, ok := c.ColorModel.(color.Palette); err != nil || !ok || c.Width != 390 || c.Height != 844 {
			t.Errorf("%s: %d by %d, with a palette: %t, %v", k.Name(), c.Width, c.Height, ok, err)
		}
	}
	if t.Logf("%d kept, %d bytes", len(kept), whole); whole > keptBytes {
		t.Errorf("the kept pictures are %d bytes, at most %d", whole, keptBytes)
	}
}

func write(t *testing.T, file string, b []byte) {
	t.Helper()
	err := os.MkdirAll(filepath.Dir(file), 0o755)
	if err == nil {
		err = os.WriteFile(file, b, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// palettePNG is what the page shows in the 256 colours that are most frequent on it: a fifth of the bytes,
// and nothing that an eye sees is another.
func (p *tab) palettePNG() []byte {
	p.Helper()
	shot, err := png.Decode(bytes.NewReader(did(p, chromedp.CaptureScreenshot())))
	if err != nil {
		p.Fatal(err)
	}
	area, often := shot.Bounds(), map[color.Color]int{}
	for y := area.Min.Y; y < area.Max.Y; y++ {
		for x := area.Min.X; x < area.Max.X; x++ {
			often[shot.At(x, y)]++
		}
	}
	colours := slices.SortedFunc(maps.Keys(often), func(a, b color.Color) int { return often[b] - often[a] })
	few := image.NewPaletted(area, colours[:min(len(colours), 256)])
	draw.Draw(few, area, shot, area.Min, draw.Src)
	var out bytes.Buffer
	best := png.Encoder{CompressionLevel: png.BestCompression}
	if err := best.Encode(&out, few); err != nil {
		p.Fatal(err)
	}
	return out.Bytes()
}

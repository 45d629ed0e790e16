package daemon

import (
	"context"
	"fmt"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	print "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// printed are the pages that are made to be printed, and how many sheets of A4 each fills. Those of a load
// are behind links of its page.
var printed = []struct {
	name, path string
	sheets     int
}{
	{"door", "/door/big-blue", 2},
	{"packing", "packing", 1}, // by the link of the load that is measured
	{"board", "/lid/board?opening=92.5&clay=tern&galleries=" + strings.Repeat("104.5%0A104%0A105%0A", 4), 1},
	{"lid", "/lid?collar=104.5&opening=92.5&clay=tern", 1},
	{"bars", "/bars/sheet", 1},
}

// aSheet is a page object of a PDF that is not packed (ISO 32000-2, 7.7.3.3); the type of its parent ends
// with an s.
var aSheet = regexp.MustCompile(`/Type\s*/Page\b`)

// printsFit prints each on A4, 210 by 297 mm, in English and in German, and counts the sheets.
func (s *studio) printsFit(t *testing.T, browser context.Context) {
	p := s.tab(t, browser, 1280, 900)
	for _, german := range []bool{false, true} {
		p.speaks(german)
		for _, in := range printed {
			if in.name == "packing" || in.name == "bars" {
				p.open("/")
				p.press(`.kiln[data-kiln="little-red"] a.btn.wide`)
				p.press(fmt.Sprintf(`main a[href*=%q]`, in.path))
			} else {
				p.open(in.path)
			}
			pdf := did(p, func(ctx context.Context, t *chromedp.Target) ([]byte, error) {
				const inch = 25.4
				r, err := cdp.Call(ctx, t, print.PrintToPDF, print.PrintToPDFParams{PaperWidth: 210 / inch,
					PaperHeight: 297 / inch, PreferCSSPageSize: new(true)})
				return r.Data, err
			})
			name := in.name + map[bool]string{true: "-de", false: ""}[german]
			if *pictures {
				write(t, filepath.Join("../testout/pictures", name+".pdf"), pdf)
			}
			if n := len(aSheet.FindAll(pdf, -1)); n != in.sheets {
				t.Errorf("%s fills %d sheets of A4, want %d", name, n, in.sheets)
			}
		}
	}
}

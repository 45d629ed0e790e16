package api

import (
	"fmt"
	"image"
	"image/color"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The squares of a printed sheet open the entry of their own bar: zbarimg (Debian zbar-tools), a
// reader that knows nothing of us, reads them off the page, a picture of four pixels a module.
func TestSheetCodesAreRead(t *testing.T) {
	b := newBench(t)
	b.tern("BQ7", "BQ4")
	sheet := b.page("/bars/sheet?clay=tern")
	drawings := regexp.MustCompile(`(?s)<svg class="qr".*?</svg>`).FindAllString(sheet, -1)
	if len(drawings) != 2 {
		t.Fatalf("%d codes on a sheet of two bars", len(drawings))
	}
	for i, bar := range []string{"BQ4", "BQ7"} {
		file := filepath.Join(t.TempDir(), bar+".png")
		paintQR(t, drawings[i], file)
		read, err := exec.Command("zbarimg", "--quiet", "--raw", "--nodbus", file).CombinedOutput()
		if err != nil {
			t.Fatalf("read the code of %s (make packages brings zbarimg): %v %s", bar, err, read)
		}
		if got, want := strings.TrimSpace(string(read)), strings.TrimSuffix(b.s.Site.PublicURL, "/")+
			"/bar/"+bar; got != want {
			t.Errorf("the code of %s opens %q, want %q", bar, got, want)
		}
	}
}

// paintQR paints the modules of a drawing, black on white.
func paintQR(t *testing.T, svg, file string) {
	t.Helper()
	const pixels = 4
	var size int
	if _, err := fmt.Sscanf(svg[strings.Index(svg, "viewBox"):], `viewBox="0 0 %d`, &size); err != nil {
		t.Fatal(err)
	}
	img := image.NewGray(image.Rect(0, 0, size*pixels, size*pixels))
	for i := range img.Pix {
		img.Pix[i] = 255
	}
	for _, m := range regexp.MustCompile(`M(\d+) (\d+)h1v1h-1z`).FindAllStringSubmatch(svg, -1) {
		var x, y int
		fmt.Sscan(m[1], &x)
		fmt.Sscan(m[2], &y)
		for i := range pixels * pixels {
			img.SetGray(x*pixels+i%pixels, y*pixels+i/pixels, color.Gray{})
		}
	}
	f, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := png.Encode(f, img); err != nil {
		t.Fatal(err)
	}
}

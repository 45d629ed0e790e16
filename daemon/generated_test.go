package daemon

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	_ "github.com/oapi-codegen/runtime" // what a generated client needs
)

// askedByGenerated is what somebody writes who has only the generated client.
const askedByGenerated = `package main

import (
	"context"
	"fmt"
	"os"
)

func must[T any](v T, err error) T {
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	return v
}

func main() {
	ctx, c := context.Background(), must(NewClientWithResponses(os.Args[1]))
	text := func(s string) *string { return &s }
	fmt.Println("clay", must(c.PutClayWithResponse(ctx, "tern", nil, ClayBody{Name: "Tern stoneware", MaturesCone: text("6")})).StatusCode())
	fmt.Println("bar", must(c.PutBarWithResponse(ctx, "AA", nil, BarBody{Id: os.Args[2], Clay: "tern"})).JSON201.Bar)
	for range 2 {
		r := must(c.PutReadingWithResponse(ctx, "AA", os.Args[3], nil, ReadingBody{Stage: "wet", Length: text("3 15/16"), Unit: new(ReadingBodyUnit("in")), By: text("KT")}))
		if r.JSON201 != nil {
			fmt.Println("reading", *r.JSON201.LengthMm)
		} else {
			fmt.Println("again", *r.JSON200.LengthMm)
		}
	}
	bars := must(c.ListBarsWithResponse(ctx, &ListBarsParams{Clay: text("tern")}))
	fmt.Println("bars", len(*bars.JSON200.Items), bars.JSON200.Next == nil)
	a := must(c.LidWithResponse(ctx, &LidParams{Collar: &[]string{"96mm"}, BodyDryingRatio: text("0.06"), BodyFiringRatio: text("0.07"), PlayMm: text("1.5")}))
	fmt.Println("lid", *a.JSON200.UnroundedMm, a.JSON200.Trust)
	wrong := must(c.LidWithResponse(ctx, &LidParams{Collar: &[]string{"96mm"}, Clay: text("owl")}))
	fmt.Println("problem", wrong.ApplicationproblemJSON404.Type, *wrong.ApplicationproblemJSON404.Instance)
	fmt.Println("now", len(*must(c.NowWithResponse(ctx, nil)).JSON200.Items))
	fmt.Println("changes", (*must(c.ChangesWithResponse(ctx, &ChangesParams{})).JSON200.Items)[0].Kind)
}
`

// A client that oapi-codegen makes of the document we serve compiles, and asks and enters what it
// likes. The lid is case S1 of lids.csv: 94.2841 mm.
func TestGeneratedClient(t *testing.T) {
	b := newHeatBench(t)
	b.run()
	folder := t.TempDir()
	write := func(name, text string) string {
		t.Helper()
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	status, document := b.ask("GET", "/v1/openapi.json", nil, nil)
	if status != 200 {
		t.Fatalf("the document: %d", status)
	}
	served, made := write("openapi.json", document), filepath.Join(folder, "client.go")
	if out, err := exec.Command("go", "tool", "oapi-codegen", "-generate", "types,client", "-package", "main", "-o", made, served).CombinedOutput(); err != nil {
		t.Fatalf("oapi-codegen: %v\n%s", err, out)
	}
	out, err := exec.Command("go", "run", made, write("main.go", askedByGenerated), b.site, newUUID(), newUUID()).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	const want = `clay 201
bar AA
reading 100.01
again 100.01
bars 1 true
lid 94.2841 no_bars
problem /problems/unknown-clay /v1/lid
now 2
changes clay
`
	if got := string(out); strings.TrimSpace(got) != strings.TrimSpace(want) {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

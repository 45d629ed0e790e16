package daemon

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// askedByOapi is what somebody writes who has only the client that oapi-codegen makes.
const askedByOapi = `package main

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
	rate := must(c.ShrinkageWithResponse(ctx, "tern", nil)).JSON200
	fmt.Println("rate", rate.Clay, rate.Trust)
	fmt.Println("lid", *a.JSON200.UnroundedMm, a.JSON200.Trust)
	wrong := must(c.LidWithResponse(ctx, &LidParams{Collar: &[]string{"96mm"}, Clay: text("owl")}))
	fmt.Println("problem", wrong.ApplicationproblemJSON404.Type, *wrong.ApplicationproblemJSON404.Instance)
	fmt.Println("now", len(*must(c.NowWithResponse(ctx, nil)).JSON200.Items))
	fmt.Println("changes", (*must(c.ChangesWithResponse(ctx, &ChangesParams{})).JSON200.Items)[0].Kind)
}
`

// askedByOgen is the same for the client that ogen makes, which knows each answer as a type.
const askedByOgen = `package main

import (
	"context"
	"fmt"
	"os"

	"lidwright/deploy/tools/client"
)

func must[T any](v T, err error) T {
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	return v
}

type nobody struct{}

func (nobody) Passcode(context.Context, client.OperationName) (client.Passcode, error) {
	return client.Passcode{Token: "none"}, nil
}

func main() {
	ctx, c := context.Background(), must(client.NewClient(os.Args[1], nobody{}))
	clay := client.ClayBody{Name: "Tern stoneware", MaturesCone: client.NewOptString("6")}
	fmt.Printf("%T\n", must(c.PutClay(ctx, &clay, client.PutClayParams{Clay: "tern"})))
	fmt.Printf("%T\n", must(c.PutBar(ctx, &client.BarBody{ID: os.Args[2], Clay: "tern"}, client.PutBarParams{Bar: "AA"})))
	for range 2 {
		body := client.ReadingBody{Stage: client.ReadingBodyStageWet, Length: client.NewOptString("3 15/16"),
			Unit: client.NewOptReadingBodyUnit(client.ReadingBodyUnitIn), By: client.NewOptString("KT")}
		fmt.Printf("%T\n", must(c.PutReading(ctx, &body, client.PutReadingParams{Bar: "AA", ID: os.Args[3]})))
	}
	rate := must(c.Shrinkage(ctx, client.ShrinkageParams{Clay: "tern"}))
	fmt.Printf("%T\n", rate)
	a := must(c.Lid(ctx, client.LidParams{Collar: client.NewOptNilStringArray([]string{"96mm"}),
		BodyDryingRatio: client.NewOptString("0.06"), BodyFiringRatio: client.NewOptString("0.07"), PlayMm: client.NewOptString("1.5")}))
	fmt.Println("lid", a.(*client.Lid).UnroundedMm.Value)
	fmt.Printf("%T\n", must(c.Lid(ctx, client.LidParams{Collar: client.NewOptNilStringArray([]string{"96mm"}), Clay: client.NewOptString("owl")})))
}
`

// generators makes a folder that holds the document we serve, and a module that has what generated clients
// need: that of our tools, in which both generators are named.
func generators(t *testing.T, b *heatBench) (folder string, tool func(args ...string)) {
	t.Helper()
	folder = t.TempDir()
	status, document := b.ask("GET", "/v1/openapi.json", nil, nil)
	if status != 200 {
		t.Fatalf("the document: %d", status)
	}
	if err := os.WriteFile(filepath.Join(folder, "openapi.json"), []byte(document), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"go.mod", "go.sum"} {
		text, err := os.ReadFile(filepath.Join("..", "deploy", "tools", name))
		if err == nil {
			err = os.WriteFile(filepath.Join(folder, name), text, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return folder, func(args ...string) {
		t.Helper()
		run := exec.Command("go", append([]string{"tool"}, args...)...)
		run.Dir = folder
		if out, err := run.CombinedOutput(); err != nil {
			t.Fatalf("%s: %v\n%s", args[0], err, out)
		}
	}
}

// askedBy compiles and runs a program in the folder, and holds what it says.
func askedBy(t *testing.T, b *heatBench, folder, program, want string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(folder, "main.go"), []byte(program), 0o600); err != nil {
		t.Fatal(err)
	}
	// built once, whatever the folder is called
	run := exec.Command("go", "run", "-trimpath", ".", b.site, newUUID(), newUUID())
	run.Dir = folder
	out, err := run.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if got := string(out); strings.TrimSpace(got) != strings.TrimSpace(want) {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// A client that oapi-codegen makes of the document we serve compiles, and asks and enters what it
// likes. The lid is case S1 of lids.csv: 94.2841 mm.
func TestClientByOapiCodegen(t *testing.T) {
	t.Parallel()
	b := newHeatBench(t)
	b.run()
	folder, tool := generators(t, b)
	tool("oapi-codegen", "-generate", "types,client", "-package", "main", "-o", "client.go", "openapi.json")
	askedBy(t, b, folder, askedByOapi, `clay 201
bar AA
reading 100.01
again 100.01
bars 1 true
rate tern no_bars
lid 94.2841 no_bars
problem /problems/unknown-clay /v1/lid
now 2
changes clay
`)
}

// The same by ogen, which checks each answer against the document as it reads it. It leaves out what it does
// not know: the stream of changes.
func TestClientByOgen(t *testing.T) {
	t.Parallel()
	b := newHeatBench(t)
	b.run()
	folder, tool := generators(t, b)
	settings := "generator: {ignore_not_implemented: [all], features: {enable: [paths/client], disable_all: true}}\n"
	if err := os.WriteFile(filepath.Join(folder, "ogen.yml"), []byte(settings), 0o600); err != nil {
		t.Fatal(err)
	}
	tool("ogen", "--target", "client", "--package", "client", "--config", "ogen.yml", "openapi.json")
	askedBy(t, b, folder, askedByOgen, `*client.PutClayCreated
*client.PutBarCreated
*client.PutReadingCreated
*client.PutReadingOK
*client.Shrinkage
lid 94.2841
*client.LidNotFound
`)
}

package api

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"lidwright/tiles"
)

// BenchmarkEntry keeps one reading after another over HTTP, each synced to the disk before it is
// answered, and tells the 99th of a hundred. At most 50 ms is asked.
func BenchmarkEntry(b *testing.B) {
	be := newBench(b)
	var codes []string
	for _, first := range be.s.Codes {
		for _, second := range be.s.Codes {
			codes = append(codes, string(first)+string(second)+"A")
		}
	}
	be.s.Shrink = nobody{} // a daemon answers from the fit that stands, and fits beside
	be.tern(codes...)
	took := make([]time.Duration, 0, 1024)
	for b.Loop() {
		code := codes[len(took)%len(codes)]
		body := fmt.Sprintf(`{"stage":"wet","length":"%.2f","instrument":"calliper","by":"KT"}`,
			100+0.01*float64(len(took)%9))
		began := time.Now()
		r, text := be.send("PUT", "/v1/bars/"+code+"/readings/"+be.id(), "application/json", body)
		took = append(took, time.Since(began))
		if r.StatusCode != 201 {
			b.Fatal(r.StatusCode, text)
		}
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
}

// BenchmarkListPages asks for each list over a record of 100,000 readings of 25,000 bars. At most 20 ms is
// asked of each.
func BenchmarkListPages(b *testing.B) {
	be := newBench(b)
	be.tern()
	sheet := tiles.Taken{There: map[tiles.Code]bool{}}
	at := be.s.Now()
	for i := range 25_000 {
		code := tiles.Code(fmt.Sprintf("b%05d", i))
		bar := tiles.Bar{Code: code, ID: fmt.Sprintf("0193a0b0-0000-7000-8001-%012d", i),
			BatchRef: tiles.BatchRef{Clay: "tern", Batch: "A"}, Forming: tiles.Rolled,
			MarkLength: 100, Marks: 1, By: "KT"}
		for k, stage := range []tiles.Stage{tiles.Wet, tiles.Leather, tiles.Dry, tiles.Fired} {
			l := tiles.Millimetre([]float64{100, 97, 94, 87.5}[k])
			bar.Readings = append(bar.Readings,
				tiles.Reading{ID: fmt.Sprintf("0193a0b0-0000-7000-8002-%012d", 4*i+k), Bar: code, Mark: 1,
					Stage: stage, Length: l, AsTyped: fmt.Sprint(l), Unit: "mm",
					Instrument: "calliper", By: "KT"})
		}
		sheet.Bars = append(sheet.Bars, bar)
	}
	for i := range 100 {
		l := tiles.Load{ID: fmt.Sprintf("0193a0b0-0000-7000-8003-%012d", i), Kiln: "big-blue", Kind: "glaze",
			Atmosphere: "unknown", Stated: 1222}
		for k := range 20 {
			l.Bars = append(l.Bars, tiles.Placed{Bar: sheet.Bars[20*i+k].Code, Shelf: "middle"})
		}
		sheet.Loads = append(sheet.Loads, l)
	}
	if err := be.store.KeepSheet(b.Context(), sheet, at, nil); err != nil {
		b.Fatal(err)
	}
	be.s.Shrink = nobody{} // the lists ask for no fit
	for name, path := range map[string]string{
		"bars": "/v1/bars?limit=50", "bars of a clay": "/v1/bars?clay=tern&limit=50",
		"bars waiting": "/v1/bars?waiting=true&limit=50", "last bars": "/v1/bars?after=b24900&limit=50",
		"loads": "/v1/loads?limit=50", "all bars": "/bars/all", "bars page": "/bars",
		"changes": "/v1/changes?after=90000&limit=50",
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if r, text := be.send("GET", path, "", ""); r.StatusCode != 200 {
					b.Fatal(r.StatusCode, text)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/1000/float64(b.N), "ms")
		})
	}
}

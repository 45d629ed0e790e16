package heatwork

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"sync"

	"lidwright/kiln"
)

// conesCSV is the table of published end points; cones.md beside it names every source.
//
//go:embed cones.csv
var conesCSV []byte

// ConeEnd is one published end point of a cone.
type ConeEnd struct {
	Series kiln.Series         // one of the Series constants, or one that cannot be turned into heat work
	Cone   string              // label as pressed into the cone
	Rate   kiln.CelsiusPerHour // over the last 100 °C; 0 where the source states none
	At     kiln.Celsius        // the tip is level with the base
	Source string              // code in cones.md; M is from memory alone
}

// coneTable is the published end points that heat work rests on, in the order of the file, read once. It is
// part of the program and tested with it, so that one that does not parse is a fault of the build and no
// input.
var coneTable = sync.OnceValue(func() []ConeEnd {
	ends, err := readConeTable(bytes.NewReader(conesCSV))
	if err != nil {
		panic("kiln: embedded cones.csv: " + err.Error())
	}
	return ends
})

// readConeTable reads end points from CSV with the header
// series,cone,rate_c_per_h,end_point_c,source.
func readConeTable(r io.Reader) ([]ConeEnd, error) {
	rows, err := csv.NewReader(r).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("read the table of cones: %w", err)
	}
	if len(rows) == 0 || len(rows[0]) != 5 || rows[0][0] != "series" {
		return nil, fmt.Errorf("the table of cones lacks its header series,cone,rate_c_per_h,end_point_c,source")
	}
	ends := make([]ConeEnd, 0, len(rows)-1)
	for i, row := range rows[1:] {
		end := ConeEnd{Series: kiln.Series(row[0]), Cone: row[1], Source: row[4]}
		if row[2] != "" {
			rate, err := strconv.ParseFloat(row[2], 64)
			if err != nil || !(rate > 0) {
				return nil, fmt.Errorf("the table of cones, line %d: rate %q is no rate above 0", i+2, row[2])
			}
			end.Rate = kiln.CelsiusPerHour(rate)
		}
		at, err := strconv.ParseFloat(row[3], 64)
		if err != nil || !kiln.Celsius(at).Known() {
			return nil, fmt.Errorf("the table of cones, line %d: end point %q is no temperature", i+2, row[3])
		}
		end.At = kiln.Celsius(at)
		ends = append(ends, end)
	}
	return ends, nil
}

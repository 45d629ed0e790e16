package api

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// A sheet as LibreOffice has it in one file (OpenDocument 1.3, flat XML): lengths are numbers, days are days,
// of which the last row has one as the number that a spreadsheet counts; the note has a line end, a semicolon
// and quotes in it.
const sheetBegins = `<?xml version="1.0" encoding="UTF-8"?>
<office:document xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"
 xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" office:version="1.3" office:mimetype="application/vnd.oasis.opendocument.spreadsheet">
<office:body><office:spreadsheet><table:table table:name="bars">`

// sheetRow is a row of it: a cell that begins with = is a number, with @ a day, else text.
func sheetRow(cells ...string) string {
	row := "<table:table-row>"
	for _, c := range cells {
		switch {
		case strings.HasPrefix(c, "="):
			row += `<table:table-cell office:value-type="float" office:value="` + c[1:] + `"><text:p>` +
				c[1:] + `</text:p></table:table-cell>`
		case strings.HasPrefix(c, "@"):
			row += `<table:table-cell office:value-type="date" office:date-value="` + c[1:] + `"><text:p>` +
				c[1:] + `</text:p></table:table-cell>`
		default:
			row += `<table:table-cell office:value-type="string">`
			for _, line := range strings.Split(c, "\n") {
				row += "<text:p>" + line + "</text:p>"
			}
			row += `</table:table-cell>`
		}
	}
	return row + "</table:table-row>"
}

// TestNotebooksByTheirWriters has LibreOffice, R and Python write the same three bars, each in the ways in
// which people save tables there, and takes every one in: the same lengths, on the same days, whatever
// separator, decimal sign, encoding and form of day it has. It needs LIDWRIGHT_SOAK.
func TestNotebooksByTheirWriters(t *testing.T) {
	if os.Getenv("LIDWRIGHT_SOAK") == "" {
		return
	}
	folder := t.TempDir()
	sheet := sheetBegins +
		sheetRow("Code", "Clay", "Bag", "Wet (mm)", "Wet on", "Dry (mm)", "Fired (mm)",
			"Fired on", "Cone", "By", "Note") +
		sheetRow("BQ7", "tern", "A", "=100", "@2023-03-14", "=94.1", "=87.6", "@2023-04-02", "=6", "KT",
			"schräg;\nam \"Rand\"") +
		sheetRow("BQ4", "tern", "A", "=100.05", "@2023-03-14", "=94.2", "=87.4",
			"@2023-04-02", "=6", "KT", "") +
		// 45018 is 2 April 2023
		sheetRow("BQA", "tern", "A", "=99.95", "@2023-03-14", "=94", "=87.45", "=45018", "=6", "RO", "") +
		"</table:table></office:spreadsheet></office:body></office:document>"
	shell := func(script string) {
		t.Helper()
		run := exec.CommandContext(t.Context(), "sh", "-ec", script)
		run.Dir, run.Env = folder, append(os.Environ(), "HOME="+folder, "LC_ALL=C.UTF-8")
		if out, err := run.CombinedOutput(); err != nil {
			t.Fatalf("%s: %v\n%s", script, err, out)
		}
	}
	if err := os.WriteFile(filepath.Join(folder, "bars.fods"), []byte(sheet), 0o600); err != nil {
		t.Fatal(err)
	}
	var written []string
	// Tokens of the filter: separator, quotes, encoding (76 UTF-8, 1 Windows-1252), first row, -, language
	// (1031 German, 1033 English of the US), quote all texts, numbers as they are kept, as shown. Source:
	// LibreOffice help, filter options for CSV.
	for name, tokens := range map[string]string{"de": "59,34,1,1,,1031,false,true,false",
		"us": "44,34,76,1,,1033,true,true,false", "tab": "9,34,76,1,,1031,false,true,true",
		"bom": "59,34,76,1,,1031,true,true,true,false,false,-1,true"} {
		shell("soffice --headless --convert-to 'csv:Text - txt - csv (StarCalc):" + tokens + "' --outdir " +
			name + " bars.fods && mv " + name + "/*.csv libreoffice-" + name + ".csv")
		written = append(written, "libreoffice-"+name+".csv")
	}
	if err := os.WriteFile(filepath.Join(folder, "bars.R"), []byte(`
b <- data.frame(code = c("BQ7", "BQ4", "BQA"), clay = "tern", batch = "A", wet = c(100, 100.05, 99.95), wet_on = as.Date("2023-03-14"),
  dry = c(94.1, 94.2, 94), fired = c(87.6, 87.4, 87.45), fired_on = as.Date("2023-04-02"), cone = 6, by = c("KT", "KT", "RO"), note = c("schr\u00e4g", NA, NA))
write.csv(b, "r-csv.csv")
write.csv2(b, "r-csv2.csv", row.names = FALSE, fileEncoding = "latin1")
write.table(b, "r-table.csv", sep = "\t", dec = ",", quote = FALSE, row.names = FALSE, na = "")
`), 0o600); err != nil {
		t.Fatal(err)
	}
	shell("Rscript --vanilla bars.R")
	if err := os.WriteFile(filepath.Join(folder, "bars.py"), []byte(`
import csv, datetime
head = ["Code", "Clay", "Bag", "Wet (mm)", "Wet on", "Dry (mm)", "Fired (mm)", "Fired on", "Cone", "By", "Note"]
rows = [["BQ7", "tern", "A", 100, "", 94.1, 87.6, "", 6, "KT", "schräg;\nam \"Rand\""], ["BQ4", "tern", "A", 100.05, "", 94.2, 87.4, "", 6, "KT", ""], ["BQA", "tern", "A", 99.95, "", 94, 87.45, "", 6, "RO", ""]]
wet, fired, zero = datetime.date(2023, 3, 14), datetime.date(2023, 4, 2), datetime.date(1899, 12, 30)
for name, day, comma, kind in [("excel", lambda d: d.strftime("%d.%m.%Y"), True, {"delimiter": ";"}), ("serial", lambda d: (d - zero).days, False, {"quoting": csv.QUOTE_NONNUMERIC}),
        ("unix", lambda d: d.isoformat(), False, {"dialect": "unix"}), ("tab", lambda d: d.strftime("%d %b %Y"), True, {"dialect": "excel-tab"})]:
    with open("python-" + name + ".csv", "w", newline="", encoding="utf-16" if name == "tab" else "utf-8-sig") as f:
        w = csv.writer(f, **kind)
        w.writerow(head)
        for r in rows:
            r = list(r)
            r[4], r[7] = day(wet), day(fired)
            w.writerow([str(c).replace(".", ",") if comma and isinstance(c, float) else c for c in r])
`), 0o600); err != nil {
		t.Fatal(err)
	}
	shell("python3 bars.py")
	written = append(written, "r-csv.csv", "r-csv2.csv", "r-table.csv", "python-excel.csv",
		"python-serial.csv", "python-unix.csv", "python-tab.csv")
	for _, name := range written {
		t.Run(name, func(t *testing.T) {
			text, err := os.ReadFile(filepath.Join(folder, name))
			if err != nil {
				t.Fatal(err)
			}
			b := newBench(t)
			b.tern()
			kept := b.table("", string(text), 200)
			if !kept.Kept || kept.NewBars != 3 || kept.Readings != 9 || kept.Counting != 9 ||
				len(kept.Bad)+len(kept.Questions) > 0 {
				t.Fatalf("kept %v, %d bars, %d readings, %d count, bad %+v, asks %+v\nof %q", kept.Kept,
					kept.NewBars, kept.Readings, kept.Counting, kept.Bad, kept.Questions, text)
			}
			for code, want := range map[string][3]float64{"BQ7": {100, 94.1, 87.6},
				"BQ4": {100.05, 94.2, 87.4}, "BQA": {99.95, 94, 87.45}} {
				r := b.readings(code)
				for i, stage := range []string{"wet", "dry", "fired"} {
					if got := r[stage]["length_mm"]; got != want[i] {
						t.Errorf("%s %s: %v, want %v", code, stage, got, want[i])
					}
				}
				if wet, fired := r["wet"]["at"].(string),
					r["fired"]["at"].(string); wet[:10] != "2023-03-14" || fired[:10] != "2023-04-02" {
					t.Errorf("%s: wet on %s, fired on %s", code, wet, fired)
				}
			}
			if note, _ := b.json("GET", "/v1/bars/BQ7", "", 200)["note"].(string); !strings.HasPrefix(note,
				"schräg") {
				t.Errorf("the note: %q", note)
			}
		})
	}
}

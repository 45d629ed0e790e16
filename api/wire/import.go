package wire

import "lidwright/kiln/message"

// Import says how a table was understood, and what it brings, or would bring.
type Import struct {
	Kind        string          `json:"kind" doc:"What the table holds"`
	DryRun      bool            `json:"dry_run"`
	Kept        bool            `json:"kept" doc:"false: nothing of the table was kept"`
	Understood  Understood      `json:"understood"`
	Questions   []TableQuestion `json:"questions" doc:"What the table does not tell: nothing is kept before it is answered, each by a parameter named as its field"`
	Rows        int             `json:"rows"`
	New         int             `json:"new_rows" doc:"Of other tables than bars: rows that are not there yet"`
	SameRows    int             `json:"rows_known" doc:"Of other tables than bars: rows that are there as they stand"`
	Done        int             `json:"rows_done" doc:"Of other tables than bars: rows that were kept; fewer than new_rows where it was stopped, and the same table again goes on"`
	NewBars     int             `json:"new_bars"`
	Codes       []string        `json:"codes" doc:"Codes handed out to rows without one, in the order of the rows; a dry run names the same ones"`
	Readings    int             `json:"new_readings"`
	Same        int             `json:"readings_known" doc:"Said before: nothing is done about them"`
	Loads       int             `json:"loads"`
	Bad         []BadRow        `json:"bad_rows"`
	LeftOut     []BadRow        `json:"left_out" doc:"Rows that are no fault and are not taken in, and why"`
	Asked       []AskedRow      `json:"asked" doc:"Kept not confirmed, and out of the fit until a second reading confirms them, or the owner confirms or counts them"`
	Counting    int             `json:"counting" doc:"New readings that are terms of the fit, or will be"`
	Assumed     int             `json:"counting_at_assumed_heat" doc:"Of them, those whose firing nobody told"`
	Pending     int             `json:"pending" doc:"Of them, those that the fit does not have yet"`
	NotCounting []NotCounting   `json:"not_counting" doc:"Why the other new readings do not count; what only the fit can tell is not known in a dry run"`
}

// Understood is how a table was read.
type Understood struct {
	Separator    string          `json:"separator" enum:"comma,semicolon,tab,"`
	Encoding     string          `json:"encoding" enum:"UTF-8,UTF-16,Windows-1252,"`
	Line         int             `json:"names_line" doc:"Line that names the columns"`
	DecimalComma bool            `json:"decimal_comma"`
	Columns      []TableColumn   `json:"columns"`
	OneRow       string          `json:"one_row" enum:"bar,reading," doc:"What a row of a table of bars is"`
	Days         string          `json:"days" enum:"day_first,month_first," doc:"Which number of a day comes first; empty: none asks"`
	DaysFrom     string          `json:"days_from" doc:"How that is known; empty: it was said"`
	SerialDays   message.Message `json:"serial_days" doc:"A day that stands as the number by which spreadsheets count days, in words; empty: none does"`
}

// TableColumn is what a heading was taken for.
type TableColumn struct {
	Name string `json:"name" doc:"As it stands"`
	As   string `json:"as" doc:"Empty: not known"`
	Unit string `json:"unit,omitempty" doc:"Of its lengths, where the heading says so"`
	Like string `json:"like,omitempty" doc:"The known name that is nearest to one that is not known"`
}

// TableQuestion is something that a table does not tell.
type TableQuestion struct {
	Field   string          `json:"field" enum:"days,others"`
	Text    message.Message `json:"text"`
	Options []TableOption   `json:"options"`
}

// TableOption is one answer that a question allows.
type TableOption struct {
	Value string          `json:"value"`
	Text  message.Message `json:"text"`
}

// NotCounting is the new readings that one reason keeps out.
type NotCounting struct {
	WhyNot         // its fix is that of the first
	Readings int   `json:"readings"`
	Lines    []int `json:"lines" doc:"The first fifty"`
}

// BadRow is what is wrong with one row of a table.
type BadRow struct {
	Line  int             `json:"line"`
	Field string          `json:"field"`
	Says  message.Message `json:"says"`
}

// AskedRow is a reading of a table that is not believed.
type AskedRow struct {
	Line     int             `json:"line"`
	Bar      string          `json:"bar"`
	Stage    string          `json:"stage"`
	Slip     string          `json:"slip"`
	Question message.Message `json:"question"`
	Needs    string          `json:"needs"`
}

// Progress is how far the writing of a table has come.
type Progress struct {
	Done int `json:"done" doc:"Facts that are written so far"`
	Of   int `json:"of"`
}

package wire

// importJSON says what a table brings, or would bring.
type Import struct {
	DryRun   bool       `json:"dry_run"`
	Kept     bool       `json:"kept" doc:"false: nothing of the table was kept"`
	Rows     int        `json:"rows"`
	NewBars  int        `json:"new_bars"`
	Codes    []string   `json:"codes" doc:"Codes handed out to rows without one, in the order of the rows"`
	Readings int        `json:"new_readings"`
	Same     int        `json:"readings_known" doc:"Said before: nothing is done about them"`
	Loads    int        `json:"loads"`
	Bad      []BadRow   `json:"bad_rows"`
	Asked    []AskedRow `json:"asked" doc:"Kept not confirmed, and out of the fit until a second reading confirms them, or the owner confirms or counts them"`
}

type BadRow struct {
	Line  int    `json:"line"`
	Field string `json:"field"`
	Says  string `json:"says"`
}

type AskedRow struct {
	Line     int    `json:"line"`
	Bar      string `json:"bar"`
	Stage    string `json:"stage"`
	Slip     string `json:"slip"`
	Question string `json:"question"`
	Needs    string `json:"needs"`
}

type Progress struct {
	Done int `json:"done" doc:"Facts that are written so far"`
	Of   int `json:"of"`
}

package wire

// Forgotten is what came of forgetting a maker's mark.
type Forgotten struct {
	Mark string `json:"mark"`
	Rows int    `json:"rows" doc:"Facts that the mark stood on; they stay, without it"`
	// Copied and what follows: forgetting is not done before the copies are.
	Copied bool     `json:"copied" doc:"The newest copy was made after it and has the mark nowhere; false: see copy_trouble, or the newest copy had everything"`
	Why    string   `json:"copy_trouble,omitempty" doc:"Why no copy could be made"`
	Older  []Copy   `json:"older_copies" doc:"Copies of before that still have the mark of a forgotten maker; POST /v1/copies/renew takes it out"`
	Aside  []string `json:"moved_aside" doc:"Files that were moved aside when the store was damaged or replaced, and may have the mark; delete them by hand when nobody needs them"`
}

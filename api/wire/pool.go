package wire

import (
	"time"

	"lidwright/kiln/message"
)

// Catalogue is the bodies that a collector's operator entered.
type Catalogue struct {
	Items []CatalogueBody `json:"items"`
}

// CatalogueBody is one clay body as a supplier sells it.
type CatalogueBody struct {
	ID       string  `json:"id" doc:"UUID"`
	Supplier string  `json:"supplier"`
	Number   string  `json:"number" doc:"The supplier's number; empty: none"`
	Name     string  `json:"name"`
	Cone     string  `json:"cone" doc:"It matures at"`
	MaturesC float64 `json:"matures_c" doc:"The same as heat work, °C; every summary is told for this"`
	Became   string  `json:"became,omitempty" doc:"It was merged into that body"`
}

// PoolSummary is all that a studio sends of one body: what its own bars say of the curve, in 104 numbers, how
// many bars they were, and the year of the newest bag. There is no reading, name, note or day in it.
type PoolSummary struct {
	Model string `json:"model" doc:"Number of the shrink model"`
	Bars  int    `json:"bars" minimum:"1"`
	Year  int    `json:"year" doc:"In which the newest bag arrived of which a bar has a say; 0: not said"`
	Info  []byte `json:"info" doc:"13 and 91 numbers of 8 bytes, little endian, base64"`
}

// PoolAnswer is what the other studios say of one body, to one of them.
type PoolAnswer struct {
	Body     string    `json:"body"`
	Model    string    `json:"model"`
	Made     time.Time `json:"made"`
	Studios  int       `json:"studios" doc:"Others, that it rests on"`
	Bars     int       `json:"bars" doc:"Of all of them and of the asker"`
	MaturesC float64   `json:"matures_c"`
	Prior    []byte    `json:"prior" doc:"Mean and factor over 13 coefficients: 104 numbers of 8 bytes, little endian, base64"`
	Unlike   float64   `json:"unlike" doc:"Chance that the asker's bars are of another kind than the others'; 0 where it sent none"`
}

// ClayPool is how a clay stands to the bodies of the collector that its owner joined.
type ClayPool struct {
	Body     *CatalogueBody  `json:"body" doc:"Of the catalogue, as the owner picked it; null: none"`
	Send     bool            `json:"send" doc:"What the studio's own bars tell of it may be sent"`
	LastBody string          `json:"last_body" doc:"What was sent last, as it went; empty: nothing is there"`
	Told     *BodyTold       `json:"told" doc:"What other studios tell; null: too few do, or none was asked yet"`
	YesAgain bool            `json:"yes_again" doc:"The record was put back from a copy, or carried here, since its owner said yes: nothing is sent before she says so again"`
	Trouble  string          `json:"trouble" doc:"In a sentence"`
	Proposed []CatalogueBody `json:"proposed" doc:"Bodies that it may be, by the supplier's number and name; a person picks"`
}

// CollectorClay is one clay of the studio, and how it stands to the bodies of the collector.
type CollectorClay struct {
	Clay string `json:"clay"`
	Name string `json:"name"`
	ClayPool
}

// BodyTold is what other studios tell of a clay.
type BodyTold struct {
	Studios     int               `json:"studios"`
	Made        time.Time         `json:"made"`
	Unlike      float64           `json:"unlike" doc:"Chance that the bars that this studio sent are of another kind than theirs; 0: it sent none"`
	OthersRatio *float64          `json:"others_ratio" doc:"Total shrink where the body matures; null: not fitted yet"`
	OwnRatio    *float64          `json:"own_ratio" doc:"The same by this studio's bars alone; null: none tells"`
	LeftOut     bool              `json:"left_out" doc:"Its own bars tell another rate than the others allow at 99 %, and are believed"`
	Advice      []message.Message `json:"advice" doc:"Where its bars differ: by how much, and what to measure"`
}

// ClayPoolPick says which body a clay is, and whether what its bars tell may be sent.
type ClayPoolPick struct {
	Body string `json:"body" doc:"UUID of the catalogue; empty: none"`
	Send bool   `json:"send"`
}

// KeptBody is what a studio keeps of one clay and the bodies of its collector. What other studios told stays
// in force without the collector.
type KeptBody struct {
	Clay    string
	Body    CatalogueBody
	YesLife string      // life of the record in which its owner said yes to telling of it; empty: no
	Sent    string      // the last body that was sent, as it went; empty: none is there
	Told    *PoolAnswer // nil: too few studios do, or none was asked yet
}

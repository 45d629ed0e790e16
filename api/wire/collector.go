package wire

import (
	"encoding/json"
	"time"
)

// PushForm is the form of what a studio sends to a collector. A collector takes this one and the one before.
const PushForm = 1

// Push is a part of a studio's record on its way to a collector: changes in order, firings that are new or
// altered, and which firings the studio has where it wants to know what is missing there.
type Push struct {
	Form    int          `json:"form" doc:"Form of this message"`
	Version string       `json:"version" doc:"Of the program that sends"`
	Life    string       `json:"life" doc:"UUID; another one after the record went back to an earlier moment"`
	After   int64        `json:"after" minimum:"0" doc:"The collector has every change up to this number"`
	Last    int64        `json:"last" minimum:"0" doc:"Number of the studio's newest change"`
	Facts   []PushFact   `json:"facts,omitempty" maxItems:"1000"`
	Boots   []PushBoot   `json:"boots,omitempty" maxItems:"5000"`
	Firings []SentFiring `json:"firings,omitempty" maxItems:"100"`
	Left    int          `json:"left,omitempty" minimum:"0" doc:"Firings that are not sent yet, beside those here"`
	Has     []FiringMark `json:"has,omitempty" maxItems:"20000" doc:"Firings that the studio believes to be there; the answer names those that are not"`
}

// PushFact is one change of the record as it stands in the feed.
type PushFact struct {
	Seq          int64           `json:"seq" minimum:"1"`
	Kind         string          `json:"kind" maxLength:"40"`
	Op           string          `json:"op" maxLength:"40"`
	ID           string          `json:"id" maxLength:"200"`
	At           time.Time       `json:"at"`
	ClockTrusted bool            `json:"clock_trusted"`
	Boot         string          `json:"boot" maxLength:"100"`
	Body         json.RawMessage `json:"body"`
	Found        *PushFound      `json:"found,omitempty"`
}

// PushFound is what the studio's program found of a fact when it came, which is no part of what was said: a
// record that is made again of its facts needs it.
type PushFound struct {
	QueuedS    float64  `json:"queued_s,omitempty" doc:"Of a reading: time that it waited in a page"`
	LengthMM   *float64 `json:"length_mm,omitempty" doc:"Of a reading: its length, where that is not what was typed"`
	Unusual    bool     `json:"unusual,omitempty" doc:"Of a reading: outside belief when it came"`
	Outside    bool     `json:"outside,omitempty"`
	Slip       string   `json:"slip,omitempty" doc:"The mistake that it looks like"`
	Question   string   `json:"question,omitempty" doc:"As the studio's record keeps it"`
	UnpackedMS int64    `json:"unpacked_ms,omitempty" doc:"Of a load that was unpacked: when, ms since 1970 UTC"`
	LeastPlay  *float64 `json:"least_play_mm,omitempty" doc:"Of a board of lids: limits in force when it was judged"`
	MostPlay   *float64 `json:"most_play_mm,omitempty"`
	Bearing    *float64 `json:"bearing_mm,omitempty"`
}

// PushBoot is a running of the studio's machine whose clock came to be trusted.
type PushBoot struct {
	ID       string `json:"id" maxLength:"100"`
	OffsetMS int64  `json:"offset_ms" doc:"Wall clock less time since the start, ms since 1970 UTC"`
}

// SentFiring is a firing as it stands in the record, without its curve.
type SentFiring struct {
	ID             string     `json:"id"`
	Kiln           string     `json:"kiln" maxLength:"64"`
	Number         int        `json:"number" minimum:"1"`
	Revision       int64      `json:"revision" minimum:"1" doc:"Rises with whatever changes an answer about it"`
	Status         string     `json:"status" enum:"running,ended,incomplete"`
	Source         string     `json:"source" enum:"serial,hand,import"`
	BeganAt        time.Time  `json:"began_at"`
	OverAt         *time.Time `json:"over_at,omitempty"`
	TimesTrusted   bool       `json:"times_trusted"`
	HeatModel      string     `json:"heat_model" maxLength:"64"`
	SaidKind       string     `json:"said_kind,omitempty" maxLength:"40"`
	SaidAtmosphere string     `json:"said_atmosphere,omitempty" maxLength:"40"`
	SaidStatus     string     `json:"said_status,omitempty" maxLength:"40"`
	SaidNote       string     `json:"said_note,omitempty" maxLength:"20000"`
	Summary        []byte     `json:"summary" doc:"All that is known without the curve, in the form of the store, base64"`
}

// FiringMark says which state of a firing is there.
type FiringMark struct {
	ID       string `json:"id"`
	Revision int64  `json:"revision"`
	Curve    int64  `json:"curve" doc:"CRC-32C of its curve; 0: none"`
}

// PushTaken answers a push that was taken, and one that leaves a gap: have is the number of the last change
// that is there with all before it.
type PushTaken struct {
	Have int64    `json:"have" doc:"Every change up to this number is there"`
	Want []string `json:"want,omitempty" doc:"Firings that are not there as the studio has them, of those it named"`
}

// PushRefused says why nothing was kept.
type PushRefused struct {
	Why  string `json:"why" enum:"gap,fork,forgotten,form,token,too_many,later,busy,wrong,too-few" doc:"gap: begin after have. fork: two machines say that they are this studio"`
	Have int64  `json:"have" doc:"Of a gap"`
	Says string `json:"says" doc:"The same in a sentence"`
}

// LivePush is what the kilns of a studio do at this moment. It is never kept for later.
type LivePush struct {
	Life  string     `json:"life"`
	After int64      `json:"after" doc:"As of a push; answered with a gap where the collector has less"`
	Kilns []LiveKiln `json:"kilns" maxItems:"100"`
}

// LiveKiln is what one kiln does.
type LiveKiln struct {
	Kiln         string        `json:"kiln" maxLength:"64"`
	State        string        `json:"state" maxLength:"40"`
	Hot          bool          `json:"hot"`
	StillHot     bool          `json:"still_hot"`
	OverLimit    bool          `json:"over_limit"`
	LastC        *float64      `json:"last_c" doc:"The last good reading, however old"`
	ReadAt       *time.Time    `json:"read_at" doc:"When it was read"`
	AgeS         float64       `json:"age_s" doc:"How old it was when this was sent"`
	RateCPerHour *float64      `json:"rate_c_per_hour"`
	Firing       string        `json:"firing,omitempty"`
	Number       int           `json:"number,omitempty"`
	Kind         string        `json:"kind,omitempty" maxLength:"40"`
	RunningForS  float64       `json:"running_for_s,omitempty"`
	PeakC        *float64      `json:"peak_c,omitempty"`
	KeepShutC    float64       `json:"keep_shut_above_c"`
	Channels     []LiveChannel `json:"channels" maxItems:"32"`
}

// LiveChannel is the last good reading of a channel.
type LiveChannel struct {
	Channel string   `json:"channel" maxLength:"64"`
	C       *float64 `json:"c"`
}

// JoinAsk is a studio that comes to a collector for the first time, or again.
type JoinAsk struct {
	Code    string `json:"code" maxLength:"40" doc:"As the collector's owner gave it; good once, for a day"`
	Site    string `json:"site" doc:"UUID of the record"`
	Life    string `json:"life"`
	Version string `json:"version" maxLength:"100"`
}

// JoinTaken is the answer: what the studio says from then on, and what the collector calls it.
type JoinTaken struct {
	Token     string `json:"token" doc:"256 bits, base64url"`
	Name      string `json:"name"`
	Collector string `json:"collector" doc:"Name of the collector"`
}

// CollectorJoin is what an owner says to have a studio join a collector.
type CollectorJoin struct {
	URL    string `json:"url" maxLength:"500" doc:"Address of the collector; https unless it is this machine"`
	Code   string `json:"code" maxLength:"40"`
	CAFile string `json:"ca_file,omitempty" maxLength:"500" doc:"Certificate of whoever vouches for the collector, where that is not one that the machine knows"`
}

// CollectorPurposes are what may be sent, each a yes of the owner.
type CollectorPurposes struct {
	Keep   bool `json:"keep" doc:"The record is kept there a second time: clays, bars, loads, lids, firings, curves, and what the kilns do now"`
	Makers bool `json:"makers" doc:"With the marks of makers; without it they are blank there"`
}

// CollectorStatus is how a studio stands to a collector.
type CollectorStatus struct {
	Joined bool   `json:"joined"`
	URL    string `json:"url,omitempty"`
	Name   string `json:"name,omitempty" doc:"What the collector calls this studio"`
	Site   string `json:"site" doc:"UUID of the record, by which the collector's owner finds it"`
	CollectorPurposes
	Behind   int64   `json:"behind" doc:"Changes that are not there yet"`
	LastOKAt *string `json:"last_ok_at" doc:"When the collector last took something; null: not since the start"`
	Trouble  string  `json:"trouble,omitempty" doc:"What is wrong, in a sentence; recording goes on"`
	LastBody string  `json:"last_body,omitempty" doc:"The last body that was sent, shortened"`
}

// MakerMembers are the members of a fact's body that hold a maker's mark; mark is one in a pot card alone.
var MakerMembers = []string{"by", "packed_by", "maker", "mark"}

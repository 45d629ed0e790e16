package web

import (
	"net/http"

	"lidwright/api/wire"
	"lidwright/kiln/message"
)

// Problem is a problem of the wire as the handlers make it; NewProblem alone makes one.
type Problem struct {
	wire.Problem

	Header http.Header `json:"-"` // of the answer beside it; nil: none
	about  string      // see About
	said   message.Message
}

// GetStatus is the HTTP status, for huma.
func (p *Problem) GetStatus() int { return p.Status }

// GetHeaders are the headers that go with it, for huma.
func (p *Problem) GetHeaders() http.Header { return p.Header }

// ContentType is asked by huma while it writes a Problem.
func (p *Problem) ContentType(string) string { return "application/problem+json" }

// About gives of a thing that is not there its name as somebody typed it, which no page translates, and what
// is said of it; both empty in other problems.
func (p *Problem) About() (name string, says message.Message) { return p.about, p.said }

// Kind is what all problems of one type share; Help is the text of its page.
type Kind struct {
	Status int
	Title  message.Key
	Help   message.Key
}

// Kinds are the kinds of problems by the last part of their type.
var Kinds = map[string]Kind{
	"not-json": {400, "The body is not JSON",
		"Send one JSON object, each member once, in the spelling of the API document."},
	"code-needed": {401, "A passcode is needed",
		"Writing needs the bench passcode, changing rates or kilns the owner passcode. The owner knows both."},
	"code-too-weak": {403, "The owner passcode is needed",
		"The bench passcode may write readings; clays, bags, kilns and imports need the owner passcode."},
	"wrong-origin": {403, "The request came from another site",
		"Open the studio's own page and try there."},
	"unknown-clay":  {404, "No such clay", "The Clays page lists every clay with its id."},
	"unknown-batch": {404, "No such batch of that clay", "The clay's page lists its batches."},
	"unknown-bar": {404, "No such bar",
		"Bar codes have two or three signs; look at the underline to see which way up it is."},
	"unknown-kiln":   {404, "No such kiln", "Kilns are named in the settings file."},
	"unknown-firing": {404, "No such firing", "The Kiln page lists past firings."},
	"unknown-load":   {404, "No such load", "The Loads page lists them."},
	"unknown-pot": {404, "No such pot card",
		"The Pots page finds them by maker's mark, form, number or date."},
	"unknown-reading": {404, "No such reading",
		"The bar's page shows every reading of it, crossed-out ones too."},
	"unknown-lid-result": {404, "No such lid result", "The Lid results page lists them."},
	"unknown-fact":       {404, "No such note or cone", "The firing's page shows them."},
	"no-such-page":       {404, "There is nothing here", "Start from Home."},
	"wrong-method": {405, "That cannot be done here",
		"The API document at /v1/openapi.json says what each address takes."},
	"id-already-used": {409, "That id is taken by something else",
		"Make a new id (UUIDv7) for a new fact; send the same facts again only to repeat."},
	"code-taken": {409, "That bar code is taken",
		"A code is never used twice on a site; take a free one."},
	"too-late": {409, "It is too late to take that back",
		"A record that was stopped and a load that was unpacked can be taken back for ten minutes."},
	"changed-meanwhile": {412, "Somebody changed it meanwhile",
		"Read it again, look at what is new, then send the change with the new ETag."},
	"too-large": {413, "The body is too large",
		"Bodies may have 64 kB; tables for import 4 MB."},
	"wrong-type": {415, "The body is of another kind",
		"Send Content-Type: application/json; tables for import as text/csv."},
	"wrong-host": {421, "This address is not ours",
		"Use the Pi's own name or number; the owner can list further names in listen.hosts."},
	"missing": {422, "Something needed is missing", "Give the field that is named."},
	"rate-missing": {422, "A rate needed for that stage is missing",
		"State the ratio that is named, or name a clay."},
	"table-unreadable": {422, "That table cannot be read",
		"The first line names the columns; cells are parted by comma, semicolon or tab."},
	"length-unreadable": {422, "That length cannot be read",
		"Write 104.5 or 104,5, or 3 23/32 in; no thousands mark."},
	"unit-unclear": {422, "The unit is not clear",
		"Add the unit: 4in, 104.5mm; a share as 0.06 or 6%."},
	"unusual-size": {422, "Is that size right?",
		"Correct it, or ask again with accept=unusual."},
	"are-you-sure": {409, "That is asked first",
		"Nothing was kept. The detail asks what is unlikely; the field that is named answers it."},
	"out-of-range":  {422, "That is out of range", "The detail names the range."},
	"unknown-value": {422, "That word is not known", "The detail lists the words that are."},
	"unknown-parameter": {422, "That parameter is not known",
		"The API document lists every parameter."},
	"given-twice": {422, "Something was given twice", "Give each thing once."},
	"opening-wider-than-collar": {422, "The ledge opening is wider than the collar",
		"The opening is the hole inside the ledge. Were the two swapped?"},
	"leather-over-drying": {422, "More shrink gone than drying has",
		"The shrink at leather-hard is a part of the drying shrink."},
	"window-empty": {422, "Least play is over most play",
		"Give a least play that is smaller than the most."},
	"stage-goes-backwards": {422, "The stages go backwards",
		"Clay goes wet, soft, leather, dry, bisque, fired."},
	"no-usual-firing": {422, "There is no firing to go by",
		"Fire once, or name a cone or a heat work in the question."},
	"no-width":   {422, "There is no single width to give", "Ask as JSON; the answer says why."},
	"which-kiln": {422, "There are several kilns", "Name the kiln: /v1/now/NAME, or ?kiln=NAME."},
	"board-size": {422, "A board has 8 to 30 galleries",
		"Ask single lids one by one; split larger boards."},
	"too-many-requests": {429, "Too many at once", "Wait as long as Retry-After says."},
	"trouble": {500, "Something went wrong here",
		"Nothing you sent was lost that we said we had. The owner's log has the details."},
	"too-many-connections": {503, "Too many connections", "Close some pages and try again."},
	"not-ready": {503, "Not everything is as it should be",
		"The reasons stand in the detail. Recording goes on in memory; what is entered is refused until it can be kept."},
	"store-busy": {503, "The store cannot take it now",
		"The card is full or busy. Your entry was NOT kept; the open page sends it again."},
	"codes-unreadable": {503, "The access codes cannot be read",
		"Until the code files are whole again nothing can be written. The owner makes a new code with: lidwright code new bench, or owner."},
	"kiln-not-heard": {503, "Nothing is received from the kiln",
		"See the Settings page for what the connection waits for."},
}

// NewProblem makes a problem of a kind of the table.
func NewProblem(kind string, detail message.Message, fields ...wire.Field) *Problem {
	k, ok := Kinds[kind]
	if !ok {
		k, kind = Kinds["trouble"], "trouble"
	}
	return &Problem{Problem: wire.Problem{Type: "/problems/" + kind, Title: message.New(k.Title),
		Status: k.Status,
		Detail: detail, Fields: fields}}
}

func sayField(field string, why message.Message) message.Message {
	if field == "" {
		return message.Stopped(why)
	}
	return message.New("{1}: {2}", field, message.Stopped(why))
}

// WriteProblem answers a plain net/http request with a problem.
func WriteProblem(w http.ResponseWriter, r *http.Request, p *Problem) {
	q := *p
	if q.Instance == "" {
		q.Instance = r.URL.Path
	}
	for k, v := range q.Header {
		w.Header()[k] = v
	}
	w.Header().Set("Content-Type", "application/problem+json")
	w.Header().Del("Content-Length")
	w.WriteHeader(q.Status)
	if r.Method != http.MethodHead {
		w.Write(EncodeJSON(q))
	}
}

package pages

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"html"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/google/go-cmp/cmp"

	"lidwright/api/wire"
	"lidwright/kiln/message"
)

// compiledPages are all compiled pages, with each part of them to be seen on one of them.
func compiledPages() []Page {
	f := Frame{Site: "site", Standing: "standing", Version: "version", Speak: Speak{Unit: "mm"}}
	fault := Problem{Title: message.New("title"), Detail: message.New("detail"),
		Fields: []FieldProblem{{"name", message.New("says")}}}
	form := []Hidden{{"name", "value"}}
	sold, share := wire.CatalogueBody{ID: "id", Supplier: "supplier", Number: "number",
		Name: "name", Cone: "cone"}, 0.125
	studio := CollectorStudio{Name: "name", ID: "id", Link: "link", Heard: "heard", Have: "have",
		Behind: "behind", Version: "version", Trouble: "trouble"}
	at, many, age := "2026-11-30T20:40:00Z", 900.0, int64(3)
	kind := "kind"
	taken := wire.Import{Kind: "bars", Readings: 3, Codes: []string{"code"},
		LeftOut: []wire.BadRow{{Line: 2, Says: message.New("says")}},
		Asked:   []wire.AskedRow{{Line: 3, Bar: "bar", Question: message.New("question")}},
		NotCounting: []wire.NotCounting{{WhyNot: wire.WhyNot{Text: message.New("text"),
			Fix: &wire.Fix{Text: message.New("fix"), Link: "/link"}}, Readings: 1,
			Lines: []int{1, 2, 3, 4, 5, 6, 7, 8, 9}}},
		Understood: wire.Understood{Separator: "semicolon", DecimalComma: true, Days: "day_first",
			DaysFrom: "from", SerialDays: message.New("serial"),
			Columns: []wire.TableColumn{{Name: "name", As: "as", Unit: "mm"}, {Name: "name"}}}}
	waits := LoadToMeasure{ID: "id", Number: 14, Kind: "kind",
		Codes: []string{"code", "another"}, First: true}
	heats := wire.KilnNow{Kiln: "kiln", State: "state", Hot: true, TemperatureC: &many, RateCPerH: &many,
		ReadAgeS: &age, Kind: &kind, PeakAt: &at, AheadSays: message.New("ahead"),
		KeepShutAboveC: &many, BelowKeepShutAt: &at, BelowKeepShutLikely: []string{at, at}}
	wrong := wire.KilnNow{Kiln: "kiln", State: "state", LastTemperatureC: &many, Waits: message.New("waits"),
		OverLimit: true, LimitC: &many, TooSoon: true, Unwritten: message.New("why"), BelowKeepShutAt: &at,
		BelowKeepShutLikely: []string{at, at}}
	whole := heats
	whole.Firing, whole.Hours, whole.PeakC, whole.KindFrom, whole.ProbeSince, whole.Probe =
		&kind, &many, &many, &kind, &at, "probe"
	whole.ConeWords = &message.Message{Key: "cone"}
	whole.Corrected, whole.OverLimit, whole.LimitC, whole.HeldSays, whole.Unwritten, whole.TooSoon,
		whole.BelowKeepShut = &wire.NowWork{}, true, &many, message.New("held"),
		message.New("unwritten"), true, true
	whole.Channels = []wire.ChannelNow{{Channel: "channel", Role: "role", Fault: "fault", StillSince: &at,
		OffUsualC: &many}, {Channel: "another", Role: "role", TemperatureC: &many}}
	usual := true
	firing := wire.Firing{ID: "id", Name: "name", Kind: "kind", StartedAt: &at, PeakC: &many,
		HoursToTop: &many, ConeWords: message.New("cone"), Usual: &usual, Says: message.New("says")}
	view := CurveView{Phone: "<svg></svg>", Desk: "<svg></svg>", Table: []CurveRow{{1, 2, 3}}, Zoomed: true,
		Earlier: "?a", Later: "?b", In: "?c", All: "?d"}
	return slices.Concat(barPages(f, fault), potPages(f, fault), firingPages(f, fault, firing, view),
		studioPages(f, fault), []Page{
			HomePage{Frame: f},
			HelpPage{Frame: f, Jobs: []HelpTopic{{"name", "title", "about"}},
				Others:  []HelpTopic{{"other", "title", ""}},
				Picture: "<svg></svg>"},
			SafetyPage{Frame: f, Electric: "electric", Checked: "checked",
				Places: []CautionPlace{{"place", []NumberedCaution{{1, message.New("text"), "source"}}}}},
			DoorPage{Frame: f, Kiln: "kiln"},
			DoorPage{Frame: f, Kiln: "kiln", Electric: "electric",
				Mark:  wire.KeepShut{MarkC: &many, Reason: "reason"},
				Load:  &wire.Load{Name: message.New("name"), LoadBody: wire.LoadBody{Kind: "kind"}},
				Now:   &wrong,
				First: []NumberedCaution{{1, message.New("text"), "source"}},
				Rest:  []NumberedCaution{{2, message.New("text"), "source"}}, LookAt: "look", OutAt: "out",
				Look: "<svg></svg>", Out: "<svg></svg>", Printed: "day"},
			BarSheetPage{Frame: f},
			BarSheetPage{Frame: f, Address: "address",
				Bars: []SheetBar{{wire.BarJSON{Bar: "bar", BarBody: wire.BarBody{Clay: "clay", Batch: "batch",
					Forming: "forming"}}, "<svg></svg>"}}},
			PackingPage{Frame: f},
			PackingPage{Frame: f, Load: wire.Load{Name: message.New("name"),
				LoadBody: wire.LoadBody{Kiln: "kiln", Kind: "kind", Atmosphere: "atmosphere",
					PackedBy: "by"}}, Cautions: []message.Message{message.New("caution")},
				Spread: wire.Shelves{Says: message.New("says"),
					Shelves: []wire.Shelf{{Shelf: "shelf", MoreC: &many, SDC: &many, Bars: 2}}},
				Shelves: []ShelfPacked{{"shelf",
					[]wire.BarJSON{{Bar: "bar", BarBody: wire.BarBody{Clay: "clay", Batch: "batch",
						Forming: "forming", Practice: true}}}}, {"", nil}}},
			PrintPage{Frame: f, Name: "name", Drawing: "<svg></svg>", Alone: "/alone",
				Cautions: []Cautioned{{Text: message.New("caution")}}},
			WetSheetPage{Frame: f, LidWhy: message.New("why")},
			WetSheetPage{Frame: f, Lid: &wire.Lid{}},
			WetSheetPage{Frame: f, Pot: wire.Pot{PotBody: wire.PotBody{Form: "form", Mark: "mark",
				Number: "number", Seat: "seat", SeatGlazed: true, Body: "body"}}, Trust: "trust",
				TrustWhy: message.New("why"), Stages: []string{"stage"},
				Rows: []WetRow{{message.New("name"), []wire.SizeStage{{Stage: "stage", MM: &many},
					{Stage: "stage"}}}}, Lid: &wire.Lid{SetMM: &many, NotOverMM: &many, NotUnderMM: &many,
					FitChance: &many}, Drawing: "<svg></svg>", Written: "written", Gauge: "/gauge",
				Cautions: []Cautioned{{Text: message.New("caution")}}},
			NoticesPage{Frame: f},
			NoticesPage{Frame: f, Receivers: []string{"receiver"},
				Caution: Cautioned{Text: message.New("caution")},
				Days: []NoticeDay{{"day",
					[]ToldNotice{{At: "at", Link: "/link", Says: "says", Cleared: true,
						Taken: []NoticeTaken{{"receiver", "answer", "sent", 1},
							{"receiver", "answer", "waiting", 2}, {"receiver", "answer", "gave_up", 3}}},
						{At: "at", Says: "says"}}}}},
			ChangedPage{Frame: f},
			ChangedPage{Frame: f, News: []HomeNews{{message.New("says"), "/link"}},
				Crossed: []CrossedOutRow{{"at", "by", "why", message.New("what"), "/link"}},
				Days: []ChangedDay{{"day",
					[]Changed{{message.New("says"), []ChangedThing{{"name", "/link"}, {"name", ""}}, 3,
						"by"}}}}},
			HomePage{Frame: f, First: &FirstVisit{}},
			HomePage{Frame: f, First: &FirstVisit{Kiln: true, Clay: "clay", ClayName: "name"}},
			HelpTopicPage{Frame: f, Topic: HelpTopic{"name", "title", "about"}, Tongue: "en",
				OtherTongue: true, HTML: "<p>text</p>", Others: []HelpTopic{{"other", "title", "about"}}},
			ImportPage{Frame: f, Kinds: []string{"kind"}, Kind: "kind", Pasted: "pasted", Problem: &fault},
			ImportPage{Frame: f, Kinds: []string{"kind"}, File: "file", Held: "held",
				Days: "days", Outcome: &taken},
			ImportPage{Frame: f, Kinds: []string{"kind"}, File: "file", Held: "held", Days: "value",
				Outcome: &wire.Import{Kind: "kind",
					Questions: []wire.TableQuestion{{Field: "days", Text: message.New("text"),
						Options: []wire.TableOption{{Value: "value", Text: message.New("text")}}}}}},
			ImportPage{Frame: f, Kinds: []string{"kind"}, Outcome: &wire.Import{Kind: "kind",
				Bad: []wire.BadRow{{Line: 2, Field: "field", Says: message.New("says")}}}},
			ImportPage{Frame: f, Kinds: []string{"kind"}, Outcome: &wire.Import{Kind: "bars", Kept: true,
				Readings: 3, Pending: 1, NotCounting: taken.NotCounting}},
			ImportPage{Frame: f, Kinds: []string{"kind"}, Outcome: &wire.Import{Kind: "readings",
				Kept: true, Readings: 3}},
			HomePage{Frame: Frame{Site: "site", Now: time.Date(2026, 11, 30, 9, 0, 0, 0, time.UTC)},
				ClockUnset: true, Alarm: []message.Message{message.New("alarm")}, Strays: []string{"stray"},
				Waiting: []LoadToMeasure{waits}, News: []HomeNews{{message.New("says"), "link"}},
				Lids: []LidSized{{Pot: "pot", Form: "form", Seat: "seat", Clay: "clay", GalleryMM: 104.5,
					LidMM: 102.5, Made: "day"}},
				Kilns: []KilnCard{{KilnNow: heats, Phone: "<svg></svg>", Desk: "<svg></svg>",
					Cautions: []Cautioned{{Text: message.Plain("caution"),
						More: []message.Message{message.Plain("more")}}}, Waiting: []LoadToMeasure{waits}},
					{KilnNow: wrong}, {KilnNow: wire.KilnNow{Kiln: "kiln"}}}},
			KilnPage{Frame: f, Kiln: KilnCard{KilnNow: wire.KilnNow{Kiln: "kiln"}}},
			KilnPage{Frame: f, ClockUnset: true, Silent: true, Kiln: KilnCard{KilnNow: whole},
				Others: []wire.KilnNow{{Kiln: "other", State: "state"}}, Firing: &firing, Curve: view,
				Beneath: message.New("beneath"), Gaps: []message.Message{message.New("gap")},
				Cautions: []Cautioned{{Text: message.Plain("caution"),
					More: []message.Message{message.Plain("more")}, Open: true}},
				Why: message.New("why").String(), Open: "open", ID: "id", Model: "id",
				Past: []PastFiring{{Firing: firing, Spark: "spark"}, {Firing: wire.Firing{ID: "id"}}}},
			WallPage{Frame: f},
			WallPage{Frame: f, Kilns: []KilnCard{{KilnNow: whole,
				Cautions: []Cautioned{{Text: message.Plain("caution"),
					More: []message.Message{message.Plain("more")}, Open: true},
					{Text: message.Plain("caution")}}}, {KilnNow: wrong},
				{KilnNow: wire.KilnNow{Kiln: "kiln"}}}},
			LanguagePage{Frame: f, Units: []string{"unit", "another"}, Next: "next"},
			PasscodePage{Frame: f, Open: true},
			PasscodePage{Frame: f, Who: "who", Action: "action", Fields: form},
			PasscodePage{Frame: f, Problem: &fault, Action: "action", Fields: form},
			CollectorPage{Frame: f, Problem: &fault},
			CollectorPage{Frame: f, Joined: true, URL: "url", Name: "name", Record: "record", Keep: true,
				Makers: true, Behind: "behind", LastOK: "last", Trouble: "trouble", LastBody: "body"},
			CollectorPage{Frame: f, Joined: true},
			CollectorPage{Frame: f, Joined: true, Choose: "id", Bodies: []wire.CatalogueBody{sold},
				Clays: []BodyOfClay{
					{CollectorClay: wire.CollectorClay{Clay: "id", Name: "name",
						ClayPool: wire.ClayPool{Body: &sold,
							LastBody: "body", Trouble: "trouble", YesAgain: true}}},
					{CollectorClay: wire.CollectorClay{Clay: "id", Name: "name",
						ClayPool: wire.ClayPool{Proposed: []wire.CatalogueBody{sold}}}}}},
			CollectorPage{Frame: f, Joined: true, Clays: []BodyOfClay{
				{CollectorClay: wire.CollectorClay{Clay: "id", Name: "name",
					ClayPool: wire.ClayPool{Body: &sold}}},
				{CollectorClay: wire.CollectorClay{Clay: "id", Name: "name",
					ClayPool: wire.ClayPool{Body: &sold,
						Send: true}}},
				{CollectorClay: wire.CollectorClay{Clay: "id", Name: "name",
					ClayPool: wire.ClayPool{Body: &sold, Send: true, LastBody: "body",
						Told: &wire.BodyTold{Studios: 7, OthersRatio: &share, OwnRatio: &share,
							Advice: []message.Message{message.New("advice")}}}}, ToldOn: "day"},
				{CollectorClay: wire.CollectorClay{Clay: "id", Name: "name",
					ClayPool: wire.ClayPool{Proposed: []wire.CatalogueBody{sold}}}}}},
			CollectorKilnsPage{Frame: f, All: 2, Hot: 1, ToLookAt: 1, Only: KilnsHot, Filter: "filter",
				Cautions: []message.Message{message.Plain("caution")},
				Kilns: []CollectorKiln{{Studio: "studio", Kiln: "kiln", Link: "link",
					State: "state", Value: "value",
					Age: "age", Running: "running", Hot: true, SilentHot: true, Wrong: "wrong",
					Cautions: []message.Message{message.Plain("caution")}, Curve: Drawing{Width: 9, Height: 9,
						Says: "drawn", Lines: []string{"points"}}}}},
			CollectorKilnsPage{Frame: f},
			CollectorStudiosPage{Frame: f, Studios: []CollectorStudio{studio}},
			CollectorStudiosPage{Frame: f},
			CollectorBodiesPage{Frame: f},
			CollectorBodiesPage{Frame: f, Bodies: []CollectorBody{{ID: "id", Name: "name",
				Supplier: "supplier", Number: "number", Cone: "cone", Studios: "studios",
				Bars: "bars", Into: "name"},
				{ID: "id", Name: "name", Supplier: "supplier", Number: "number",
					Cone: "cone", Studios: "studios",
					Bars: "bars", Made: "made", Phone: "<svg></svg>", Desk: "<svg></svg>",
					Curve: []CollectorBodyRate{{"heat", "rate", "low", "high"}},
					Years: []CollectorBodyYear{{2024, 7, "rate", "doubt", 0, 0},
						{2025, 7, "rate", "doubt", 2024, 0.4}, {2026, 7, "rate", "doubt", 2025, -0.4}}}}},
			CollectorStudioPage{Frame: f, Studio: studio, More: true,
				Firings: []CollectorFiring{{Link: "link", Kiln: "kiln", Number: "number", Began: "began",
					Kind: "kind", Status: "status", Peak: "peak", Lasted: "lasted"}}},
			CollectorFiringPage{Frame: f, Studio: studio,
				Curve: Drawing{Width: 9, Height: 9, Says: "drawn", Lines: []string{"points"}}, Note: "note",
				Cautions: []message.Message{message.Plain("caution")}},
			CollectorFiringPage{Frame: f, Studio: studio},
			KilnsPage{Frame: f, Fuels: []string{"fuel"}, Name: "name", Fuel: "fuel", Problem: &fault,
				Beside: []message.Message{message.New("beside")}, Strays: []StrayKiln{{"stray", 3, 2, 1}},
				Kilns: []OneKiln{{Name: "kiln", State: "state", Fuel: "fuel", NoLine: true,
					Usual: []UsualFiring{{Kind: "kind", Atmosphere: "atmosphere", Name: "name",
						Cone: message.New("cone"), TopC: &many, Hours: &many, Says: message.New("says"),
						Asks: true, ID: "id"}, {Pinned: true, ID: "other"}},
					Probes: []KilnProbe{{"channel", "type", message.New("says")}}}}},
			KilnsPage{Frame: f, Kilns: []OneKiln{{Name: "kiln"}}},
			LidPage{Frame: f, Q: url.Values{}, Unit: "32nds", Seats: []Word{"inset", "seat"}, Seat: "seat",
				LidName: "lid", Sizes: []LidSize{{"collar", "label", 26}},
				Rates: []LidField{{"rate", "label"}}, Fine: []LidField{{"fine", "label"}},
				Clays: []LidClay{{"clay", "name"}}, Clay: "clay", Stages: []string{"stage"},
				Units: []Word{"mm", "32nds"}, Carry: form,
				Wrong: []LidFault{{"collar", "label", message.New("says")},
					{"cone", "label", message.New("says?")}}, Trouble: message.New("trouble"), Sure: "sure",
				Meant: []LidMeant{{"meant", "query"}}},
			LidPage{Frame: f, Q: url.Values{"collar": {"104.5"}}, Seat: "inset",
				Cautions: []Cautioned{{Text: message.Plain("caution")}}, Answer: &LidAnswer{Question: "width",
					Sets: "rim", Number: "102.5", WhatIf: true, Less: "less", More: "more",
					Chances: &LidChances{8, 79, 13},
					Notes:   []message.Message{message.Plain("note")}, Spread: []string{"spread"},
					Steps: []string{"step"},
					Wheel: []WheelRow{{"name", "under", "figure", true}}, Learned: "learned",
					LeftOut: []wire.Left{{Bar: "bar", Stage: "stage", Why: message.New("why")}},
					Asked:   []string{"one", "two"}, Why: []LidReason{{"name", message.New("says")}},
					Card: "card"}},
			LidPage{Frame: f, Q: url.Values{}, Answer: &LidAnswer{Question: "width", HeldBack: "why"}},
			LidPage{Frame: f, Q: url.Values{}, Answer: &LidAnswer{Question: "width",
				Sets: "lid", Number: "1"}},
			LidPage{Frame: f, Q: url.Values{}, Answer: &LidAnswer{Question: "gap", Number: "1",
				Check: "check", Chances: &LidChances{8, 79, 13}}},
			LidNumberPage{Frame: f, Answer: LidAnswer{Question: "width", Number: "1",
				Notes: []message.Message{message.Plain("note")}},
				Cautions: []Cautioned{{Text: message.Plain("caution")}}},
			LidNumberPage{Frame: f, Answer: LidAnswer{Question: "width", HeldBack: "why"}},
			LidNumberPage{Frame: f, Answer: LidAnswer{Question: "gap"}},
			ProblemPage{Frame: f, Problem: fault, Help: message.New("help")},
			ProblemPage{Frame: f, Problem: Problem{Title: message.New("title"),
				Detail: message.New("detail")}, Help: message.New("help")},
		})
}

// barPages are the pages of bars and loads, in several states.
func barPages(f Frame, fault Problem) []Page {
	mm, at, fix := 87.5, "2026-01-14T13:00:00Z", "87.65"
	read := wire.Reading{ID: "reading", Stage: "stage", LengthMM: &mm, TotalRatio: &mm, Counted: true}
	doubted := wire.Reading{ID: "reading", Stage: "stage", LengthMM: &mm,
		WhyNot: &wire.WhyNot{Text: message.New("text"),
			Fix: &wire.Fix{Text: message.New("text"), Link: "link"}}}
	bars := []BarToMeasure{{Code: "code", Stage: "stage", NewID: "id", Before: &read, Expected: &mm, Low: &mm,
		High: &mm}, {Code: "other", Stage: "stage", Reading: &read},
		{Code: "third", Stage: "stage", Reading: &doubted}}
	less := -0.4
	bar := wire.BarJSON{Bar: "code", BarBody: wire.BarBody{Clay: "clay", Batch: "batch", Forming: "forming",
		Practice: true}, Shrunk: &mm, Next: "next"}
	bar.Flags = []string{"bent"}
	fresh := wire.BarJSON{Bar: "code", BarBody: wire.BarBody{Marks: 2}, Next: "next"}
	figure := &wire.Figure{Value: &mm, Likely: []*float64{&mm, nil}}
	whole := wire.BarJSON{Bar: "code", BarBody: wire.BarBody{Marks: 2},
		Derived: wire.Derived{Drying: figure, Firing: figure, Total: figure, Absorption: figure,
			Porosity: figure, Density: figure},
		Firings: []wire.Heat{{Load: "load", Kind: "kind", Kiln: "kiln", Shelf: "shelf", HeatWorkC: &mm}, {}},
		Readings: []wire.Reading{read, doubted,
			{ID: "id", Unusual: true, Slip: "slip", Stage: "stage", LengthMM: &mm, AsTyped: "typed",
				Unit: "unit", By: "by", At: &at}, {ID: "id"}, {Mass: &wire.MassBody{Dry: 50}},
			{Struck: &wire.Act{Why: "why"}},
			{HeatAssumed: &wire.HeatAssumed{Text: message.New("text"),
				Fix: wire.Fix{Text: message.New("text"), Link: "link"}}},
			{WhyNot: &wire.WhyNot{Text: message.New("text")}}}}
	tick := wire.Tick{Item: "item", Says: message.Plain("says"), Done: true, At: &at, By: "by"}
	load := LoadView{Load: wire.Load{ID: "id", Name: message.New("Load {1}", 14), State: "packed",
		StateWords: message.New("words"), Unpacked: &at}, TickID: "tick", Asked: message.New("asked"),
		Had: []Named{{"id", "name"}}, May: []Named{{"id", "name"}},
		Check: wire.CheckList{Items: []wire.Tick{tick, {Item: "two", Says: message.Plain("says"), At: &at}},
			Standing: "standing"}}
	load.Kind, load.Kiln, load.Firing, load.Open = "kind", "kiln", "firing", true
	fired := load
	fired.Open, fired.In, fired.CalledOff = false, true, &at
	aside := []BarToMeasure{{Code: "bent", Flags: []string{"bent", "broken"}}}
	cautions := []Cautioned{{Text: message.Plain("caution"), More: []message.Message{message.Plain("more")}}}
	return []Page{
		MeasurePage{Frame: f, Load: &fired, Back: "/load/id", Bars: bars, Aside: aside, At: 0, Last: 2,
			Phone: "<svg></svg>", Desk: "<svg></svg>", Cautions: cautions},
		MeasurePage{Frame: f, Stage: "stage", Back: "/bars/measure?codes=a", Bars: bars, At: 0, Last: -1,
			Typed: Lengths{"97.65", "3"}, Ask: &wire.Reading{AsTyped: "97.65",
				Question: message.New("question"),
				Fix:      &fix, LengthMM: &mm}},
		MeasurePage{Frame: f, Stage: "stage", Back: "/bars/measure?codes=a", Bars: bars[:1], At: 0, Last: -1,
			Wrong: message.New("wrong")},
		MeasurePage{Frame: f, Stage: "stage", Back: "/bars/measure?codes=a",
			Bars: bars[1:], At: -1, Last: -1},
		MeasurePage{Frame: f, Load: &load, Back: "/load/id", At: -1, Last: -1},
		PackedPage{Frame: f, Load: load, Cautions: cautions,
			Shelves: []PackedShelf{{"shelf", []string{"code"}}}},
		PackedPage{Frame: f, Load: fired},
		BagPage{Frame: f, Clay: wire.ClayJSON{Clay: "id"}, Next: "D", Compared: 2, DifferedMM: 0.6},
		BagPage{Frame: f, Form: Form{Values: url.Values{"batch": {"batch"}},
			Problem: &Problem{Title: message.New("title"), Detail: message.New("detail")}}},
		ClaysPage{Frame: f, Clays: []OneClay{{ID: "id", Name: "name", Rate: &wire.Shrinkage{Batch: "batch",
			Trust: "trust", TrustWhy: message.New("why"), TotalRatio: &mm}},
			{ID: "id", Name: "name", Why: message.New("why")}}},
		ClaysPage{Frame: f, Form: Form{Values: url.Values{"name": {"name"}},
			Problem: &Problem{Title: message.New("title"), Detail: message.New("detail")}}},
		ClayPage{Frame: f, Sold: &BodyOfClay{CollectorClay: wire.CollectorClay{Clay: "id",
			ClayPool: wire.ClayPool{Proposed: []wire.CatalogueBody{{ID: "id", Name: "name"}}}}}},
		ClayPage{Frame: f, Clay: wire.ClayJSON{Clay: "id", Batches: []wire.Batch{{Batch: "batch"}}},
			Wrong: message.New("wrong"), Asked: Form{Values: url.Values{"cone": {"cone"}}, Problem: &fault},
			NewBars: Form{Values: url.Values{"count": {"count"}}, Problem: &fault}},
		ClayPage{Frame: f, Clay: wire.ClayJSON{Clay: "id", ClayBody: wire.ClayBody{Name: "name", Stated: 0.12,
			MaturesCone: "6"}, Batches: []wire.Batch{{Batch: "batch"}}},
			Rate: &wire.Shrinkage{Batch: "batch", Trust: "trust", TrustWhy: message.New("why"), From: "wet",
				To: "fired", At: wire.HeatAt{For: message.New("for")}, TotalRatio: &mm,
				Parts: wire.Parts{Drying: &mm, FiringOnWet: &mm, Leather: &mm, LeatherFrom: "handbook"},
				Basis: wire.Basis{Bars: 1}}, Why: &wire.Why{Batch: "batch"},
			Phone: "<svg></svg>", Desk: "<svg></svg>", Rows: []ShrinkRow{{Tested: true}, {}},
			Stages: []string{"stage"}, Kinds: []string{"kind"}, Formings: []string{"forming"},
			Bars: []wire.BarJSON{bar, {Bar: "code"}}, Cautions: cautions, Make: true,
			NotCounted: []NotCounted{{WhyNot: *doubted.WhyNot, Readings: []wire.Reading{doubted}},
				{WhyNot: wire.WhyNot{Text: message.New("text")},
					Readings: []wire.Reading{doubted, doubted}}}},
		ClayPage{Frame: Frame{Site: "site", Speak: Speak{Unit: "in"}},
			Clay:      wire.ClayJSON{Clay: "id", ClayBody: wire.ClayBody{Stated: 0.12}},
			Rate:      &wire.Shrinkage{From: "wet", To: "dry", Basis: wire.Basis{Bars: 4, Loads: 2}},
			BagsPhone: "<svg></svg>", BagsDesk: "<svg></svg>",
			Why: &wire.Why{Batch: "batch", Sharpens: true,
				NextBars: []wire.Gain{{GainMM: &mm, Says: message.New("says")}},
				Items: []wire.Move{{At: &at, Was: &mm, Now: &mm,
					Because: []message.Message{message.New("because"), message.New("and")}}},
				Probes: []wire.Witness{{Probe: "probe", Disagree: true, DriftC: &mm, DriftSDC: &mm}},
				Batches: []wire.Against{{Batch: "other", Differs: true, MoreMM: &mm,
					Advice: &message.Message{Key: "fix"}}, {Batch: "third", Differs: true, MoreMM: &less}}}},
		BarPage{Frame: f, Bar: fresh, Flags: []string{"bent"},
			Form: Form{Values: url.Values{"which": {"id"}, "dry_g": {"wet"}, "unit": {"mm"}},
				Problem: &fault},
			Which: &WhichAsked{Reading: wire.Reading{ID: "id", HeatAssumed: &wire.HeatAssumed{}},
				Firings: []WhichFiring{{ID: "id", Name: "name", Kind: "kind", Cone: message.New("cone"),
					At: &at}}}, Stages: []string{"next"}, Units: []string{"mm"}},
		BarPage{Frame: f, Bar: bar, ClayName: "name", Form: Form{Values: url.Values{}},
			Saved: &wire.Reading{Question: message.New("question"), Stage: "stage", AsTyped: "87,6",
				Unit: "in", LengthMM: &mm, TotalRatio: &mm, Earlier: &wire.Earlier{ID: "id",
					Question: message.New("question")}},
			Asked: &wire.Reading{AsTyped: "typed", Question: message.New("question"), Fix: &fix},
			Sent:  map[string]string{"length": "length"}, Correct: &read, Word: true},
		BarPage{Frame: f, Bar: whole, Form: Form{Values: url.Values{}},
			Saved: &wire.Reading{Mass: &wire.MassBody{Dry: 50, Suspended: 30}, Confirms: "id"}, Load: "load"},
		BarPage{Frame: f, Bar: whole, Word: true, Form: Form{Values: url.Values{}},
			Saved: &wire.Reading{Question: message.New("question")}, Again: &doubted,
			Asked: &wire.Reading{AsTyped: "typed"}},
		BarPage{Frame: f, Bar: whole, Form: Form{Values: url.Values{}}, Saved: &wire.Reading{Pending: true,
			HeatAssumed: &wire.HeatAssumed{}}},
		BarStoryPage{Frame: f, Story: wire.Story{Bar: "code",
			Items: []wire.Chapter{{At: &at, What: "read", Says: message.New("says"), By: "by", Why: "why",
				Load: "load"}, {What: "moved"}}}},
		BarStoryPage{Frame: f},
		AllBarsPage{Frame: f, Bars: []wire.BarJSON{bar},
			Waiting: []Tab{{Text: "text", Href: "/bars"}, {Text: "name", Name: true, On: true,
				Href: "/bars/all?a=b"}}, Clay: "clay", More: "/bars/all?after=x"},
		AllBarsPage{Frame: f},
		LoadsPage{Frame: f, Loads: []wire.Load{fired.Load, {ID: "id", Name: message.New("Load {1}", 3),
			Measured: 2, Waiting: 3}}, More: "/loads?after=x"},
		LoadsPage{Frame: f},
		MorePage{Frame: f, Tables: []string{"table"}, Lines: []message.Message{message.New("line")},
			Store:        []message.Message{message.New("store")},
			StoreTrouble: []message.Message{message.New("trouble")}, Clock: "clock"},
		MorePage{Frame: f},
		BarsHomePage{Frame: f, ID: "id", Waiting: []LoadToMeasure{{ID: "id", Number: 13, Kind: "kind",
			Codes: []string{"code"}}}, New: []NewBars{{"clay", "batch", []string{"code"}}},
			Open: []OpenLoad{{"id", "kiln", "kind", message.New("words"), 14, 2}}, Kilns: []string{"kiln"},
			Clays: []Named{{"id", "name"}}, Any: true, Cautions: cautions},
		BarsHomePage{Frame: f, Kilns: []string{"kiln"},
			Form: Form{Values: url.Values{"bars": {"bars"}, "kiln": {"kiln"}}, Problem: &fault}},
	}
}

// potPages are the pages of pots, lids and sizes, in several states.
func potPages(f Frame, fault Problem) []Page {
	mm := 104.5
	refused := Form{Values: url.Values{"why": {"why"}}, Problem: &Problem{Title: message.New("title"),
		Detail: message.New("detail")}}
	whyNot := &wire.WhyNot{Text: message.New("text"), Fix: &wire.Fix{Text: message.New("text"), Link: "link"}}
	rows := []DiaryRow{{ID: "id", Day: "day", Pots: "pots", Phone: "<svg></svg>", Desk: "<svg></svg>",
		Sat: "sat", Learned: "learned"},
		{ID: "id", Sat: "sat", WhyNot: whyNot}, {ID: "id", Sat: "sat", Struck: "struck"}}
	waiting := []WaitingBoard{{Card: "card", Form: "form", Pots: "pots", Body: "body", Lids: 6}}
	cautions := []Cautioned{{Text: message.Plain("caution"), More: []message.Message{message.Plain("more")}}}
	pictures := []SmallPicture{{"name", "<svg></svg>", "says"}, {"name", "", "says"}}
	figures := []FiringFigures{{ID: "id", Name: "name", Day: "day", Peak: "peak", ToPeak: "hours",
		Cooling: "hours", HeatWork: "work", Cone: message.New("cone"), Says: message.New("says")}}
	counts := []Count{{"good", "act", "word", "value"}}
	return []Page{
		PotsPage{Frame: f, Forms: []string{"form", "form"}, Waiting: waiting, Find: "find", More: true,
			Made: 2, Cautions: cautions,
			Diary: &LidDiary{Form: "form", Good: 17, Of: 24, Learned: "learned", ScalePhone: "<svg></svg>",
				ScaleDesk: "<svg></svg>", Boards: rows, Rest: 3},
			Cards: []PotRow{{ID: "id", Name: "name", Form: "form", Made: "made", Body: "body",
				Sizes: "sizes"}},
			New: NewPots{ID: "id", Unit: "32nds", Forms: []string{"form"},
				Clays: []LidClay{{"clay", "name"}}, Clay: "clay", Seats: []Word{"inset"},
				Stages: []string{"stage"}, Next: 7, Open: true}},
		PotsPage{Frame: f, Find: "find", New: NewPots{Form: refused, Open: true}},
		PotsPage{Frame: f},
		PotPage{Frame: f, Pot: wire.Pot{ID: "id", PotBody: wire.PotBody{Mark: "mark", Number: "number",
			Form: "form", Seat: "seat", SeatGlazed: true, Together: "together", Collar: []float64{1, 2},
			Opening: &mm, Stage: "stage", Body: "body",
			Lid: "lid", Set: &mm, Measured: &mm, Bowl: &mm, TrimMost: &mm, Fired: []float64{1, 2},
			Note: "note"}}, Made: "made", Unit: "mm", Lid: "lid", Fired: []Hidden{{"name", "value"}},
			Ledge: true, Check: "check", Board: "board", Cautions: cautions},
		PotPage{Frame: f, Pot: wire.Pot{ID: "id", PotBody: wire.PotBody{Form: "form", Collar: []float64{1}}},
			Form: refused},
		ResultsPage{Frame: f, Waiting: waiting, Unfired: 2, Held: "held", LeftOut: 1, Boards: rows,
			Cautions: cautions,
			Saved: &SavedBoard{Row: rows[0], Form: "form", Moved: "moved",
				Says: []message.Message{message.New("says")}},
			Forms:  []FormResult{{"form", "body", "maker", "differs", "likely", "sat"}},
			Makers: []MakerTrue{{"mark", 3, 4, "throws", "reads", "off"}}},
		ResultsPage{Frame: f, Boards: rows[:1], Struck: "id", Strike: refused,
			Saved: &SavedBoard{Row: rows[1]}},
		ResultsPage{Frame: f},
		BoardPage{Frame: f, Q: refused, Unit: "32nds", Seats: []Word{"inset"}, Seat: "inset",
			Gallery: "gallery", Ledge: true, Clays: []LidClay{{"clay", "name"}}, Clay: "clay", OwnRates: true,
			Stages: []string{"stage"}, Kinds: []string{"kind"}, Units: []string{"unit"},
			Rates: []LidField{{"rate", "label"}}, Fine: []LidField{{"fine", "label"}},
			Wrong: []LidFault{{"lids", "label", message.New("says")}}, Trouble: message.New("trouble"),
			Sure: "sure", Cautions: cautions},
		BoardPage{Frame: f, Answer: &BoardAnswer{Pots: 12, Lids: 14, Unit: "mm",
			Sizes: []BoardSize{{2, "figure"}}, All: "all", Expected: "expected", OneBy: "one", Trust: "trust",
			TrustWhy: "why", Asked: "asked", Query: "query"}},
		BoardPage{Frame: f, Answer: &BoardAnswer{HeldBack: "held", Wide: "wide"}},
		BoardPage{Frame: f, Answer: &BoardAnswer{All: "all",
			Pairs: []BoardPair{{"pot", "gallery", "lid", "chance", ""}, {"pot", "gallery", "", "", "set"}}}},
		BoardPage{Frame: f, Answer: &BoardAnswer{Pairs: []BoardPair{{"pot", "gallery", "", "", "set"}}}},
		TrendPage{Frame: f, Kiln: "kiln", Kind: "kind", Kinds: []string{"kind"}, Pictures: pictures,
			Firings: figures},
		TrendPage{Frame: f, Kiln: "kiln"},
		ComparePage{Frame: f, Firings: append(figures, figures...),
			IDs: []Hidden{{"firing", "id"}}, Phone: "<svg></svg>",
			Desk: "<svg></svg>", At: Form{Values: url.Values{"at": {"900"}}}, AtSays: "says"},
		ComparePage{Frame: f, Trouble: message.New("trouble"), Phone: "<svg></svg>", At: refused},
		YearPage{Frame: f, Year: "2026", Before: "2025", After: "2027", Loads: "loads",
			Kilns: []KilnOfYear{{"name", "says", pictures, []string{"probe"}}}, Bags: pictures, Lids: "lids",
			Outcomes: []YearCount{{"word", 3, 30}}, Lost: "lost",
			Drift: []DriftOf{{"probe", "says", true}}, Cautions: cautions},
		YearPage{Frame: f},
		BoardResultPage{Frame: f, ID: "id", Card: "card", FormName: "form",
			Pots: []BoardPot{{"id", "number", true}, {"id", "", false}}, Range: "range", Unit: "mm",
			Counts: counts, Losses: counts, Loads: []Named{{"id", "name"}}, Load: "id"},
		BoardResultPage{Frame: f, Counts: counts, Losses: []Count{{Name: "glued"}}, Form: refused},
	}
}

// studioPages are the pages of sizes, the class, the settings and people, in several states.
func studioPages(f Frame, fault Problem) []Page {
	mm, ml, at := 104.5, 900.0, "2026-11-30T20:40:00Z"
	cautions := []Cautioned{{Text: message.New("caution"), More: []message.Message{message.New("more")}}}
	sizes := func(what Word, q url.Values) SizesPage {
		return SizesPage{Frame: f, What: what, Unit: "mm", Form: Form{Values: q},
			Clays:  []LidClay{{"clay", "name"}},
			Stages: []string{"stage"}, Seats: []string{"seat"}, Cautions: cautions}
	}
	answered := func(what Word, j wire.Size) SizesPage {
		p := sizes(what, url.Values{"clay": {"clay"}})
		j.Trust, j.TrustWhy, j.Stages = "trust", message.New("why"), []wire.SizeStage{{Stage: "stage",
			MM: j.WetMM, ML: j.WetML}}
		p.Size = &j
		return p
	}
	wrong := sizes("length", url.Values{"fired": {"typed"}})
	wrong.Form.Problem = &Problem{Fields: []FieldProblem{{"other", message.New("says")}}}
	trouble := sizes("nest", url.Values{})
	trouble.Form.Problem = &Problem{Detail: message.New("detail")}
	nest, shared, scale := sizes("nest", nil), sizes("shared", nil), sizes("scale",
		url.Values{"pot": {"pot"}})
	nest.Nest = &wire.Nest{Says: message.New("says"),
		Gaps: []wire.NestGap{{Inner: 1, Outer: 2, PlayMM: &mm, WorstMM: &mm, FitChance: &mm}}}
	shared.Shared = &wire.Shared{Says: message.New("says"), WindowLeast: &mm}
	scale.Scale = &wire.Scale{Times: &mm, Says: message.New("says"),
		Lengths: []wire.ScaledOne{{Name: "length 1", WasMM: &mm, MM: &mm}, {Name: "name"}}}
	odd := ClassBar{BarJSON: wire.BarJSON{Bar: "bar", BarBody: wire.BarBody{Clay: "clay", Batch: "batch",
		By: "by", Practice: true},
		Shrunk: &mm, Readings: []wire.Reading{{Stage: "stage", LengthMM: &mm}}}, Why: message.New("why")}
	return []Page{
		answered("length", wire.Size{WetMM: &mm, LikelyMM: []*float64{&mm, &mm},
			Asked: wire.SizeAsked{Stage: "stage"}}),
		answered("length", wire.Size{FiredMM: &mm, LikelyMM: []*float64{&mm, &mm}}),
		answered("holds", wire.Size{WetML: &ml, LikelyML: []*float64{&ml, &ml},
			Asked: wire.SizeAsked{Stage: "stage"}}),
		answered("holds", wire.Size{FiredML: &ml, LikelyML: []*float64{&ml, &ml}}),
		answered("part", wire.Size{WetMM: &mm, Asked: wire.SizeAsked{Stage: "stage", Part: "hole"}}),
		answered("part", wire.Size{WetMM: &mm, Asked: wire.SizeAsked{Stage: "stage", Part: "plug"}}),
		sizes("part", url.Values{"clay": {""}}), wrong, trouble, nest, shared, scale,
		sizes("scale", url.Values{}),
		ClassPage{Frame: f, Bars: []ClassBar{odd, {BarJSON: wire.BarJSON{Bar: "bar"}}}, Look: []ClassBar{odd},
			Measured: 1, Phone: "<svg></svg>", Desk: "<svg></svg>",
			Strip: "stage", Codes: "bar", All: true, Clay: "clay",
			Which: []Tab{{Text: "tab"}, {Text: "tab", On: true}}, Cautions: cautions,
			Out: []wire.CrossedOut{{Kind: "kind", ID: "id", What: message.New("what"), By: "by",
				Why: "why", Link: "/link"}},
			Throw: []ClassThrow{{ID: "clay", Name: "name", Rate: &wire.Shrinkage{Trust: "trust"},
				Lengths: []ThrownTo{{mm, mm}}},
				{ID: "clay", Name: "name", Why: message.New("why")}, {ID: "clay", Name: "name"}}},
		ClassPage{Frame: f},
		SettingsPage{Frame: f, Settings: "settings", Receivers: []string{"receiver"},
			Electric: "electric", Wiring: cautions,
			KeepShut: cautions[0], Notices: cautions[0], Collector: "collector", Trouble: "trouble",
			Kilns: []KilnSettings{{Name: "kiln", Speaks: message.New("speaks"),
				Heard: []message.Message{message.New("heard")}, Look: []message.Message{message.New("look")},
				Sends:   []message.Message{message.New("sends")},
				Shelves: []message.Message{message.New("shelf")},
				Channels: []ChannelRow{{"name", "role", "unit", message.New("from"),
					&CoupleRow{Type: "type", Class: "class", Tolerance: message.New("tolerance")}}},
				Lives: []ProbeLife{{ID: "id", Channel: "channel", Type: "type", Class: "class",
					Fitted: "day"}, {Removed: "day"}}, Probes: []string{"probe"},
				Mark: wire.KeepShut{MarkC: &mm, Reason: "reason", At: &at, By: "by"}}, {Name: "kiln"}}},
		SettingsPage{Frame: f},
		PeoplePage{Frame: f, ReadingOpen: true, Who: "bench", Makers: []MakerRow{{"mark", 3, at}},
			Gone: &Gone{Rows: 3, Copies: 2, NoCopy: true}},
		PeoplePage{Frame: f}, PeoplePage{Frame: f, Open: true},
		ProblemPage{Frame: f, Problem: Problem{Title: message.New("title")}, List: "/list"},
	}
}

// eachCompiled walks over the Go of the compiled pages.
func eachCompiled(t *testing.T, f func(file string, tree *ast.File)) {
	t.Helper()
	names, err := filepath.Glob("*_templ.go")
	if err != nil || len(names) < 5 {
		t.Fatalf("%d compiled files, %v", len(names), err)
	}
	for _, name := range names {
		tree, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		f(strings.TrimSuffix(name, "_templ.go")+".templ", tree)
	}
}

// textsOfCompiled are the keys that the compiled pages look up, with the file that each stands in.
func textsOfCompiled(t *testing.T) map[string]string {
	t.Helper()
	texts := map[string]string{}
	eachCompiled(t, func(file string, tree *ast.File) {
		ast.Inspect(tree, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			f, ok := call.Fun.(*ast.SelectorExpr)
			if !ok || f.Sel.Name != "T" && f.Sel.Name != "HTML" {
				return true
			}
			lit, ok := call.Args[0].(*ast.BasicLit)
			if !ok {
				t.Errorf("%s: a text to look up must stand in quotes where it is asked for", file)
				return true
			}
			text, err := strconv.Unquote(lit.Value)
			if err != nil {
				t.Fatal(err)
			}
			for i := 1; i < len(call.Args) || strings.Contains(text, fmt.Sprintf("{%d}", i)); i++ {
				if i >= len(call.Args) || !strings.Contains(text, fmt.Sprintf("{%d}", i)) {
					t.Errorf("%s: %q does not have the place {%d}, or nothing fills it", file, text, i)
				}
			}
			if f.Sel.Name == "T" && strings.ContainsAny(text, "<&") {
				t.Errorf("%s: %q has a tag in it: HTML writes such a text", file, text)
			}
			texts[text] = file
			return true
		})
	})
	if len(texts) < 30 {
		t.Errorf("only %d texts were found on compiled pages", len(texts))
	}
	return texts
}

// No text of a compiled page stands in it bare, where no other language can take its place.
func TestCompiledPagesAreTranslated(t *testing.T) {
	aTag := regexp.MustCompile(`<[^>]*>`)
	spoken := regexp.MustCompile(`\b(aria-label|title|alt|placeholder)="([^"]*)"`)
	bare := func(written string) (left []string) {
		for _, tag := range aTag.FindAllString(written, -1) {
			for _, p := range spoken.FindAllStringSubmatch(tag, -1) {
				left = append(left, p[2])
			}
		}
		left = append(left, aTag.Split(written, -1)...)
		return slices.DeleteFunc(left, func(s string) bool { return !hasWord(html.UnescapeString(s)) })
	}
	written := 0
	eachCompiled(t, func(file string, tree *ast.File) {
		var all strings.Builder
		ast.Inspect(tree, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) != 3 {
				return true
			}
			if f, ok := call.Fun.(*ast.SelectorExpr); !ok || f.Sel.Name != "WriteString" {
				return true
			}
			text, err := strconv.Unquote(call.Args[2].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			all.WriteString(text)
			return true
		})
		written += all.Len()
		for _, text := range bare(all.String()) {
			t.Errorf("%s: %q is not looked up", file, text)
		}
	})
	if written < 1000 {
		t.Errorf("only %d bytes of tags were found", written)
	}
	left := bare(`<nav aria-label="Pages"><p>All <b>bars</b> · 5 mm</p><p title="">` + "\n")
	if !slices.Equal(left, []string{"Pages", "All ", "bars"}) {
		t.Errorf("of the bare texts %q are seen", left)
	}
}

// The Go of the compiled pages is what their sources give. After a change: make generate.
func TestGenerated(t *testing.T) {
	check := func(folder string) (string, error) {
		out, err := exec.CommandContext(t.Context(), "go", "tool", "-modfile=../../deploy/tools/go.mod",
			"templ", "generate", "-check", "-path", folder).CombinedOutput()
		return string(out), err
	}
	if out, err := check("."); err != nil {
		t.Errorf("make generate was not run: %v\n%s", err, out)
	}
	sources, _ := filepath.Glob("*.templ")
	eachCompiled(t, func(file string, _ *ast.File) {
		if !slices.Contains(sources, file) {
			t.Errorf("%s is gone, and what was made from it is not", file)
		}
	})
	// A source that is changed is seen.
	folder := t.TempDir()
	for _, name := range []string{"problem.templ", "problem_templ.go"} {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if name == "problem.templ" {
			b = []byte(strings.Replace(string(b), "<h1>", "<h2>", 1))
			b = []byte(strings.Replace(string(b), "</h1>", "</h2>", 1))
		}
		if err := os.WriteFile(filepath.Join(folder, name), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if out, err := check(folder); err == nil || !strings.Contains(out, "problem_templ.go") {
		t.Errorf("a changed page is not seen: %v\n%s", err, out)
	}
}

// shownIn is a compiled page in a language, with every text in its data put through f.
func shownIn(t *testing.T, set *Set, tongue string, p Page, f func(string) string) string {
	t.Helper()
	v := reflect.New(reflect.TypeOf(p)).Elem()
	v.Set(deep(reflect.ValueOf(p), f))
	speak := v.FieldByName("Frame").FieldByName("Speak")
	speak.Set(reflect.ValueOf(Speak{Tongue: tongue, Unit: "mm"}))
	var b strings.Builder
	if err := set.Show(&b, v.Interface().(Page)); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// deep is a copy of a value with every text in it put through f.
func deep(v reflect.Value, f func(string) string) reflect.Value {
	out := reflect.New(v.Type()).Elem()
	switch v.Interface().(type) {
	case time.Time, Drawn, Word: // no text that anybody typed
		out.Set(v)
		return out
	}
	switch v.Kind() {
	case reflect.String:
		if v.Len() > 0 { // what is not there is nowhere shown
			out.SetString(f(v.String()))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			out.Field(i).Set(deep(v.Field(i), f))
		}
	case reflect.Slice:
		for i := range v.Len() {
			out = reflect.Append(out, deep(v.Index(i), f))
		}
	case reflect.Map: // of a form: its names are ours
		if !v.IsNil() {
			out.Set(reflect.MakeMap(v.Type()))
			for _, k := range v.MapKeys() {
				out.SetMapIndex(k, deep(v.MapIndex(k), f))
			}
		}
	case reflect.Pointer:
		if !v.IsNil() {
			out.Set(reflect.New(v.Type().Elem()))
			out.Elem().Set(deep(v.Elem(), f))
		}
	default:
		out.Set(v)
	}
	return out
}

func loaded(t *testing.T) *Set {
	t.Helper()
	set, err := Load(time.UTC, func(string, float64) string { return "" })
	if err != nil {
		t.Fatal(err)
	}
	return set
}

// anElement is a tag with its attributes; a value stands in double quotes.
var anElement = regexp.MustCompile(`<[^>"]*(?:"[^"]*"[^>"]*)*>`)

var aValue = regexp.MustCompile(`"[^"]*"`)

var aLink = regexp.MustCompile(`(?i)\b(?:href|action|src)="([^"]*)"`)

// Whatever stands in the data of a compiled page, it makes no tag and no attribute, and no link runs a
// script.
func TestCompiledPagesEscape(t *testing.T) {
	set := loaded(t)
	// elements are the tags of a page without the values of their attributes.
	elements := func(page string) (all []string) {
		for _, e := range anElement.FindAllString(page, -1) {
			all = append(all, aValue.ReplaceAllString(e, ""))
		}
		return all
	}
	for _, p := range compiledPages() {
		for _, tongue := range Tongues {
			want := elements(shownIn(t, set, tongue.Tag, p, func(s string) string { return s }))
			for _, bad := range []string{`"><script>alert(1)</script>`,
				`' onload='alert(1)`, `" onfocus="alert(1)`,
				"</title><img src=x onerror=alert(1)>", "<!--", "{{.}}", "{1}", "\x00<b>", "<a1>",
				"javascript:alert(1)", "JaVaScRiPt:alert(1)", "java\tscript:alert(1)", "data:text/html,<b>"} {
				got := shownIn(t, set, tongue.Tag, p, func(string) string { return bad })
				if diff := cmp.Diff(want, elements(got)); diff != "" {
					t.Errorf("%T with %q has other tags:\n%s", p, bad, diff)
				}
				for _, m := range aLink.FindAllStringSubmatch(got, -1) {
					link := strings.ToLower(html.UnescapeString(m[1]))
					// a browser leaves them out
					link = strings.NewReplacer("\t", "", "\n", "", "\r", "").Replace(link)
					if strings.HasPrefix(link, "javascript:") || strings.HasPrefix(link, "data:") {
						t.Errorf("%T with %q has a link to %q", p, bad, link)
					}
				}
			}
		}
	}
}

// Every type that is a page is among compiledPages.
func TestEveryCompiledPage(t *testing.T) {
	var known []string
	for _, p := range compiledPages() {
		known = append(known, reflect.TypeOf(p).Name())
	}
	eachCompiled(t, func(file string, tree *ast.File) {
		for _, d := range tree.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Name.Name == "Body" {
				if name := f.Recv.List[0].Type.(*ast.Ident).Name; !slices.Contains(known, name) {
					t.Errorf("%s: %s is not among the pages that the tests show", file, name)
				}
			}
		}
	})
}

// What people typed stays as it is in every language, where it is a word of the trade too.
func TestTypedNamesAreNotTranslated(t *testing.T) {
	set := loaded(t)
	f := Frame{Site: "dry", Speak: Speak{Tongue: "de", Unit: "mm"}}
	noClay := Problem{Title: message.New("No such clay"), Detail: message.New("{1}: {2}", "dry",
		message.Stopped(message.New("no such clay")))}
	for _, c := range []struct {
		page Page
		want []string
	}{
		{LanguagePage{Frame: f, Next: "/clay/dry"},
			[]string{`<title>Sprache und Einheiten · dry</title>`,
				`<a class="home" href="/">dry</a>`, `value="/clay/dry"`}},
		{PasscodePage{Frame: f, Who: "dry", Action: "/clays", Fields: []Hidden{{"name", "dry"}}},
			[]string{`<title>Zugangscode · dry</title>`, `name="name" value="dry"`, `<strong>dry</strong>`}},
		{PasscodePage{Frame: f, Problem: &noClay}, []string{`<p>dry: diese Masse gibt es nicht.</p>`}},
		{ProblemPage{Frame: f, Problem: noClay},
			[]string{` · dry</title>`, `<p>dry: diese Masse gibt es nicht.</p>`}},
	} {
		var b strings.Builder
		if err := set.Show(&b, c.page); err != nil {
			t.Fatal(err)
		}
		if strings.Contains(b.String(), "trocken") {
			t.Errorf("%T translates dry: %s", c.page, b.String())
		}
		for _, want := range c.want {
			if !strings.Contains(b.String(), want) {
				t.Errorf("%T has no %q: %s", c.page, want, b.String())
			}
		}
	}
	l := set.locale(f.Speak)
	if l.Say("dry") != "trocken" {
		t.Fatal("dry is no word of the trade any more: take another")
	}
	if got := l.T("Code · {1}", "dry {1}"); got != "Code · dry {1}" {
		t.Errorf("what fills a place became %q", got)
	}
	var b strings.Builder
	err := l.HTML("This browser has shown the <strong>{1}</strong> code.", "<i>dry").Render(t.Context(), &b)
	if err != nil || !strings.Contains(b.String(), "<strong>&lt;i&gt;dry</strong>") {
		t.Errorf("a text with a tag is %q, %v", b.String(), err)
	}
}

// firingPages are a firing, and a firing to log.
func firingPages(f Frame, fault Problem, firing wire.Firing, view CurveView) []Page {
	at, cone, many, seconds := "2026-11-30T20:40:00Z", "6", 900.0, 45.0
	form := Form{Values: url.Values{"cone": {"cone"}, "shelf": {"shelf"}, "kiln": {"kiln"}}, Problem: &fault}
	whole := wire.FiringWhole{Firing: firing, VentSays: message.New("vent"), ProbeSays: message.New("probe"),
		HandSays: []message.Message{message.New("hand")},
		Features: &wire.Features{Within10S: 900, RateLast100: &many, CoolTop: &many},
		Remarks: []wire.Remark{{Says: message.New("says"), Limit: message.New("limit"), Standing: "standing",
			Source: message.New("source"), Caution: true}, {Says: message.New("says")}},
		Notes: []wire.Note{{ID: "id", Text: "text", At: &at, By: "by", Incident: true},
			{ID: "id", Text: "text", Struck: &wire.Act{Why: "why"}}},
		Cones: []wire.Cone{{ID: "id", Cone: "cone", Series: "series", TiltDeg: &seconds, Shelf: "shelf",
			By: "by", HeatWorkC: &many, Side: "under", Says: message.New("says"), Pending: true},
			{ID: "id", Cone: "cone", Series: "series", Seen: "seen", HeatWorkC: &many, Side: "over",
				WhyNot: &wire.WhyNot{Text: message.New("text"),
					Fix: &wire.Fix{Text: message.New("fix"), Link: "/link"}}},
			{ID: "id", Cone: "cone", Series: "series", Seen: "seen",
				WhyNot: &wire.WhyNot{Text: message.New("text")}}, {ID: "id", Cone: "cone", HeatWorkC: &many,
				Struck: &wire.Act{Why: "why"}}}}
	whole.EndedAt, whole.CoolingHours, whole.HeatWorkC, whole.HeatLikely, whole.HeatWorkFrom, whole.Estimate =
		&at, &many, &many, []*float64{&many, &many}, "curve", true
	whole.CorrectionC, whole.CorrectionSD, whole.AsIndicated, whole.Cone =
		&many, &many, &wire.Work{HeatWorkC: &many, Likely: []*float64{nil, &many}, Cone: &cone}, &cone
	whole.Sitter, whole.KindFrom, whole.Atmosphere, whole.Note, whole.Load = &wire.Sitter{Cone: "cone",
		DroppedAt: &at}, "guessed", "atmosphere", "note", &cone
	hand := wire.FiringWhole{Firing: wire.Firing{ID: "id", Name: "name", Kiln: "kiln", Source: "hand",
		Atmosphere: "atmosphere", HeatWorkC: &many, HeatLikely: []*float64{&many, nil},
		HeatWorkFrom: "sitter", Provisional: true, ConeWords: message.New("cone"), Load: &cone}}
	return []Page{
		FiringPage{Frame: f, Firing: whole, Curve: view, Beneath: message.New("beneath"),
			Gaps: []message.Message{message.New("gap")}, Usual: Usual{ToTop: &many}, Bars: []string{"code"},
			Cautions: []Cautioned{{Text: message.New("caution")}}, VentCaution: message.New("caution"),
			Seen: "seen", Series: []string{"large_plaque_older", "series"}, ID: "id", Form: form,
			Start: wire.CheckList{Items: []wire.Tick{{Item: "item", Says: message.New("says"), Done: true,
				At: &at, By: "by"}, {Says: message.New("says"), At: &at}, {Says: message.New("says")}},
				Open: 2}},
		FiringPage{Frame: f, Firing: hand, ID: "id"},
		FiringPage{Frame: f, Firing: wire.FiringWhole{Firing: wire.Firing{HeatWorkC: &many,
			HeatWorkFrom: "cones", AsIndicated: &wire.Work{}}}},
		LogFiringPage{Frame: f},
		LogFiringPage{Frame: f, Cautions: []Cautioned{{Text: message.New("caution")}},
			Kilns: []string{"kiln"}, Loads: []Named{{"id", "name"}},
			Series: []string{"large_self_supporting_iron_free", "large_plaque_iron_free"},
			Asks:   true, Twice: map[string]bool{"began_at": true}, ID: "id", Form: form},
	}
}

// sameEverywhere are words that every language writes alike: units and names.
var sameEverywhere = map[string]bool{"mm": true, "cm": true, "in": true, "g": true, "h": true, "ml": true,
	"°C": true, "°C/h": true, "g/cm³": true, "C": true, "sd": true, "lidwright": true, "nbsp": true}

// hasWord reports whether there is something to say otherwise in another language.
func hasWord(text string) bool {
	for _, word := range strings.FieldsFunc(text,
		func(r rune) bool { return !unicode.IsLetter(r) && r != '°' && r != '/' && r != '³' }) {
		if !sameEverywhere[word] && strings.ContainsFunc(word, unicode.IsLetter) {
			return true
		}
	}
	return false
}

// Package caution has the standing cautions in plain English, each with what it rests on. Where one must be
// seen is decided by the pages, commands and prints that show it; a table in the tests of api holds each to
// its places. German stands in api/pages/words.de.txt.
//
// It promises nothing: the kiln maker's manual and local codes come first.
package caution

import (
	"slices"

	"lidwright/kiln"
	"lidwright/kiln/message"
	"lidwright/tiles"
)

// Number names a caution for good: it is never given to another, and the id of a caution
// on a page, in an answer and in the store is made of it (caution-7).
type Number int

// The cautions by name.
const (
	StayNear      Number = 1
	VentOn        Number = 2
	Fumes         Number = 3
	TestVent      Number = 4
	GetOut        Number = 5
	COAlarm       Number = 6
	Clearance     Number = 7
	Glare         Number = 8
	HotWalls      Number = 9
	NoPlastics    Number = 10
	NobodyThere   Number = 11
	Nudge         Number = 12
	Quiet         Number = 13
	OverLimit     Number = 14
	OwnProtection Number = 15
	OneSpot       Number = 16
	KeepShut      Number = 17
	ReachIn       Number = 18
	ColdBars      Number = 19
	Lining        Number = 20
	Silica        Number = 21
	NoSweeping    Number = 22
	WetGrinding   Number = 23
	Mixing        Number = 24
	Wash          Number = 25
	Circuit       Number = 26
	Port          Number = 27
	Isolated      Number = 28
	BlockNothing  Number = 29
	CableOff      Number = 30
	Classroom     Number = 31
	Students      Number = 32
	NotFoodSafe   Number = 33
	ShrinkVaries  Number = 34
	FuelKilns     Number = 35
	BoneDry       Number = 36
	Pinhole       Number = 37
	Eyes          Number = 38
	WillFuse      Number = 39
	StuckRelay    Number = 40
	PowerCut      Number = 41
	HeavyShelves  Number = 42
	HotPlug       Number = 43
)

// Caution is one standing warning. Where it must be seen is decided by the pages. Source says
// what it rests on: a published text, "practice" (of the trade, without a source), "memory" (not
// seen in print), "own" (a rule of this program).
type Caution struct {
	Number Number
	Place  string // the heading it stands under
	Text   message.Message
	Source string
}

// StandingLine is on every page and print with heat, in every notice about heat, in the help.
const StandingLine = "The kiln maker's manual and your local codes come first. Wiring is for a licensed or otherwise qualified electrician. This program watches; it protects nothing."

// ElectricKilns stands beside it where a fuel kiln may be meant.
const ElectricKilns = "Written for electric kilns; fuel kilns have more hazards, see their maker."

// Checked says how far the cautions can be relied on, beside all of them.
const Checked = "These texts were checked in November 2026 against public pages of authorities, standards and health services, mostly their first pages. What stands behind each is named in brackets: practice is common practice without a source, memory was not seen in print. A kiln expert has not read them yet."

// All are all of them, in the order in which they are read.
var All = []Caution{
	{StayNear, "Before and while it fires",
		message.New("Someone who knows this kiln stays within reach and looks in on it, above all near the top."), "practice"},
	{VentOn, "Before and while it fires", message.New("Switch the vent on before the firing and leave it on until the kiln is cold; no timer or night setback of the building may stop it."), "HSE-3; a practice report of a setback stopping a vent, unconfirmed"},
	{Fumes, "Before and while it fires", message.New("Fumes come off in both bisque and glaze firings: carbon monoxide, sulphur gases, fluorides, smoke of wax and of the clay's own organic matter, metal vapours. Vent to the outside, well away from windows and air intakes."), "EPA-7; CT"},
	{COAlarm, "Before and while it fires",
		message.New("Put up a listed carbon-monoxide alarm (UL 2034, EN 50291) and test it. CO has no smell, and nothing here measures it. Work limits over 8 h: EU and Germany 20 ppm, NIOSH 35 (never over 200), OSHA 50. A home alarm sounds later than these."), "TRGS 900 by gfgsafety.com; NIOSH 1972; EU 2017/164; OSHA. Measured low in electric kilns (UBC thesis 1996, NIOSH HETA 2007-0127), high in reduction"},
	{GetOut, "Before and while it fires", message.New("The CO alarm sounds, or headache, dizziness, nausea, confusion near a kiln: everybody out into fresh air, then call the emergency number. Do not go back in until they say so."), "williamsburgva.gov FAQ 139"},
	{Clearance, "Before and while it fires",
		message.New("Nothing that burns within 3 ft (0.9 m): an education department says so of kiln rooms, an old code of combustible walls. The same code asks 18 in (46 cm) even from walls that cannot burn, 30 in (76 cm) at the control side. Your maker's and your inspector's figures win."), "UMC 910.3.1-2 as quoted at potters.org subject08581; State Ed. Dept slide"},
	{Glare, "Before and while it fires", message.New("Never look into a glowing spyhole with bare eyes or sunglasses; use an infrared-rated filter, briefly, at arm's length."), "practice; CLEAPSS also takes blue or smoked glass; doctors differ on the size of the risk, the filter is cheap"},
	{HotWalls, "Before and while it fires",
		message.New("Outside walls pass {1}: keep children out by a cage or a locked door, with a hot-surface sign.", kiln.Celsius(100)), "HS-2000"},
	{NoPlastics, "Before and while it fires",
		message.New("No plastics, mothballs or unknown things in the kiln."), "EPA-7"},
	{NobodyThere, "Before and while it fires",
		message.New("Firing with nobody in the building is the decision of the maker, the insurer and the fire officer, not of this program. Do not leave the building, or sleep, on the strength of this program."), "own"},
	{StuckRelay, "Before and while it fires",
		message.New("A relay or contactor can stick: then the kiln heats on though its controller says off or done. Still hot, or climbing, after the end: switch off at the isolator and have it mended first."), "practice"},
	{PowerCut, "Before and while it fires",
		message.New("After a power cut a kiln may stay off or heat again by itself: treat it as live until the isolator is off."), "practice"},
	{BoneDry, "Before and while it fires",
		message.New("Ware bone dry, and a slow start below {1}: steam bursts pots and throws shards; if it feels cool to the cheek it is damp. Thick and closed pieces longest.", kiln.Celsius(100)), "practice"},
	{Pinhole, "Before and while it fires",
		message.New("A hollow knob or any closed hollow needs a pinhole, or it may burst."), "practice"},
	{HeavyShelves, "Before and while it fires",
		message.New("Shelves are heavy: lift with two, sound ones only, on three firm posts; cracked ones out."), "practice"},
	{TestVent, "Before and while it fires",
		message.New("Have the ventilation tested, keep the paper. (US EPA, five school kilns: all vented indoors at first, two fans did not work.) Wisconsin asks exhaust at the kiln, or a room of its own with 10 air changes an hour."), "EPA-7; CA; SPS 332.24(5), second hand"},
	{Nudge, "When we tell you something", message.New("A notice is a nudge, never a safety device: phones sleep, Wi-Fi drops, probes lie."), "own"},
	{Quiet, "When we tell you something", message.New("\"No reading\" means that we cannot see the kiln, not that it is cold or off."), "own"},
	{OverLimit, "When we tell you something",
		message.New("Over the limit: go to the kiln if it is safe, use its own switch and the wall isolator as its maker says. Smoke or fire: get out, call. CO2 extinguisher outside the room; people out first."), "own, practice"},
	{OwnProtection, "When we tell you something",
		message.New("This program cannot turn anything off and never will. Have the independent over-temperature protection that your maker offers fitted, by the maker or an electrician, and tested as the maker says."), "own, practice"},
	{OneSpot, "Opening and unpacking", message.New("The figure is one spot. Shelves, posts and thick lids stay hotter."), "practice"},
	{KeepShut, "Opening and unpacking", message.New("Keep it shut until it reads below the temperature that your site has set: {1} unless there is a reason. The maker's figure wins. Never open to look: hot air and ware burn at once. Above about {1} a touch can burn, sooner on metal than on pottery.", tiles.KeepShutUsual), "own; ISO 13732-1, memory: 51 °C at one minute"},
	{ReachIn, "Opening and unpacking", message.New("Switch off at the isolator before reaching in: elements can be live. Never defeat a lid or door switch. Heat-proof gloves, sleeves, eye protection; glaze splinters cut."), "HS-2000; HSE-3; practice"},
	{ColdBars, "Opening and unpacking", message.New("Measure bars at room warmth: safer, and a warm bar reads long. About 0.05 mm per 100 mm at {1} over.", kiln.Warmer(80)), "practice; 100 mm x 6e-6 per °C x 80 °C, the expansion from memory"},
	{Lining, "Opening and unpacking", message.New("Kiln wash, chipped brick and fibre lining shed dust that must not be swept dry. Ceramic fibre is classed as a cancer hazard, and fired fibre holds cristobalite: leave it alone, let a trained person mend it. Old linings may hold asbestos: do not disturb, ask."), "HSE-3; COSHH"},
	{Silica, "Lids, clay, glaze and grinding dust",
		message.New("Clay and glaze dust holds respirable crystalline silica: it can scar the lungs for good (silicosis) and cause cancer. Over 8 h: US 0.05 mg/m³, action level 0.025 (29 CFR 1910.1053); Germany 0.05 (TRGS 559); UK 0.1 (EH40, 4th ed. 2020)."), "OSHA-SI; TRGS 559; EH40"},
	{NoSweeping, "Lids, clay, glaze and grinding dust",
		message.New("No dry sweeping or brushing where it can add to exposure; wet-wipe, mop or HEPA vacuum; no compressed air."), "29 CFR 1910.1053(h)(1)-(2)"},
	{WetGrinding, "Lids, clay, glaze and grinding dust",
		message.New("Lid too tight? First reject it; else wet grinding or wet paper with a drip, outdoors or under extraction, a fitted respirator, wipe up wet. Sanding bone-dry rims is one of the dustiest jobs: HSE gives dry fettling its own sheet (CR3). Power tool and water: only one made for it, behind an RCD (GFCI)."), "practice; COSHH CR3 of dry fettling alone"},
	{Mixing, "Lids, clay, glaze and grinding dust",
		message.New("Mixing dry clay or glaze: extraction, respirator, lid on the bin; better buy plastic clay. Lead, cadmium, barium, manganese: not in classes; gloves, no spraying without a booth."), "COSHH; UNI"},
	{Wash, "Lids, clay, glaze and grinding dust",
		message.New("Wash hands, change the apron, never eat at the wheel."), "practice"},
	{Eyes, "Lids, clay, glaze and grinding dust",
		message.New("Eye protection when freeing or grinding a lid: glaze splinters fly. Tap with wood, never pry; warm and cold water on one pot crack it."), "practice"},
	{WillFuse, "Lids, clay, glaze and grinding dust",
		message.New("Seat glazed and fired in place: lid and pot will fuse. Wipe seat and lid edge bare, or fire them apart; at the hottest glaze firings alumina in the wax keeps even bare clay from sticking."), "practice; alumina: memory"},
	{Circuit, "Wiring and the Pi", message.New("The kiln's circuit is for a licensed or otherwise qualified electrician, by the electrical code in force (NEC/NFPA 70 in much of the US; in the UK the Electricity at Work Regulations 1989 and the work equipment rules of 1998)."), "memory; HSE-3"},
	{Port, "Wiring and the Pi", message.New("Connect only to the port that the controller's maker provides. Do not open the control box, splice the probe or share its wires: it may spoil the reading that the kiln itself relies on."), "own"},
	{Isolated, "Wiring and the Pi", message.New("Use an isolated USB adapter; keep Pi, cable and supply off the kiln's case, out of the heat and out of the vent's stream."), "own, memory"},
	{BlockNothing, "Wiring and the Pi", message.New("Never block a door, isolator or extinguisher with this equipment; ovens and furnaces at work may fall under NFPA 86 or other local rules: ask the authority."), "memory"},
	{CableOff, "Wiring and the Pi", message.New("Before anyone works on the kiln: our cable off."), "own"},
	{HotPlug, "Wiring and the Pi", message.New("A plug, socket or cable that is hot, brown or smells: isolator off, electrician."), "practice"},
	{Classroom, "School and class", message.New("Kilns do not belong in the classroom: own lockable room, trained user, ventilation tested and recorded."), "CA"},
	{Students, "School and class", message.New("Students measure cold bars only; the person in charge of the kiln opens it."), "own"},
	{NotFoodSafe, "What our numbers are not",
		message.New("A lid that fits does not make ware safe for food, oven or flame. Lead, cadmium, barium can leach; the inside of the lid counts too (84/500/EEC Art. 2.3). Have it tested."), "own; 84/500/EEC Art. 2.3"},
	{ShrinkVaries, "What our numbers are not",
		message.New("Shrinkage varies from bag to bag. Throw a spare."), "own"},
	{FuelKilns, "What our numbers are not",
		message.New("Written for electric kilns; fuel kilns have more hazards (gas, flame, carbon monoxide by intent in reduction): see their maker. Raku: outdoors, and never left to a program."), "own"},
}

// Wiring are those of whoever connects the program to a kiln.
var Wiring = []Number{Circuit, Port, Isolated, CableOff, HotPlug, FuelKilns}

// CarbonMonoxide is what is said of it: what to do when the alarm sounds, and to put one up.
var CarbonMonoxide = []Number{GetOut, COAlarm}

// BeforeReachingIn are those of whoever takes ware out of a kiln.
var BeforeReachingIn = []Number{OneSpot, ReachIn, ColdBars, Lining, HeavyShelves}

// Text is the text of one of them; it says nothing if there is none.
func Text(number Number) message.Message {
	for _, c := range All {
		if c.Number == number {
			return c.Text
		}
	}
	return message.Message{}
}

// Texts are those of some numbers, in their order, each once.
func Texts(numbers ...Number) []message.Message {
	var out []message.Message
	for i, n := range numbers {
		if !slices.Contains(numbers[:i], n) {
			out = append(out, Text(n))
		}
	}
	return out
}

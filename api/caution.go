package api

import "slices"

// Caution is one standing warning. Its number is never given again; where it must be seen
// is decided by the pages. Source says what it rests on.
type Caution struct {
	Number int
	Place  string // the heading it stands under
	Text   string
	Source string
}

// Standing is on every page and print with heat, in every notice about heat, in the help.
const Standing = "The kiln maker's manual and your local codes come first. Wiring is for a licensed electrician. This program watches; it protects nothing."

// ElectricKilns stands beside it where a fuel kiln may be meant.
const ElectricKilns = "Written for electric kilns; fuel kilns have more hazards, see their maker."

// NoDevice ends every notice.
const NoDevice = "Go and look. This message is no safety device; the kiln's own protection and a person are."

// Cautions are all of them, in the order in which they are read.
var Cautions = []Caution{
	{1, "Before and while it fires", "Someone who knows this kiln stays within reach and looks in on it, above all near the top.", "practice"},
	{2, "Before and while it fires", "Switch the vent on before the firing and leave it on until the kiln is cold; no timer or night setback of the building may stop it.", "HSE-3; a practice report of a setback stopping a vent, unconfirmed"},
	{3, "Before and while it fires", "Fumes come off in both bisque and glaze firings: carbon monoxide, sulphur gases, metal vapours. Vent to the outside, away from windows and air intakes.", "EPA-7; CT"},
	{4, "Before and while it fires", "In five school kilns looked at by the US EPA all had first been venting into the building, and two with fans were badly set up. Have yours tested, keep the paper.", "EPA-7; CA"},
	{5, "Before and while it fires", "Headache, sore throat or nausea near a kiln: leave, air the room, ask why.", "practice"},
	{6, "Before and while it fires", "Put up a listed carbon-monoxide alarm of its own. Work limits: OSHA 50 ppm over 8 h; NIOSH 35 ppm over 8 h, never over 200. Our notices do not smell gas.", "OSHA-CO; NIOSH-72"},
	{7, "Before and while it fires", "Nothing that burns near it. Printed figures: 3 ft (0.9 m) from combustibles in kiln rooms; 18 in, 30 in at the control side and 3 ft from combustible walls in an old code. Your maker's and your inspector's figures win.", "ED; UMC, second hand"},
	{8, "Before and while it fires", "Never look into a glowing spyhole with bare eyes or sunglasses; use an infrared-rated filter, briefly, at arm's length.", "practice; doctors differ on the size of the risk, the filter is cheap"},
	{9, "Before and while it fires", "Outside walls pass 100 °C: keep children out by a cage or a locked door, with a hot-surface sign.", "HS-2000"},
	{10, "Before and while it fires", "No plastics, mothballs or unknown things in the kiln.", "EPA-7"},
	{11, "Before and while it fires", "Firing with nobody in the building is the decision of the maker, the insurer and the fire officer, not of this program.", "own"},
	{36, "Before and while it fires", "Ware bone dry, and a slow start below 100 °C: steam bursts pots and throws shards. Thick and closed pieces longest.", "practice"},
	{37, "Before and while it fires", "A hollow knob or any closed hollow needs a pinhole, or it may burst.", "practice"},
	{12, "When we tell you something", "A notice is a nudge, never a safety device: phones sleep, Wi-Fi drops, probes lie.", "own"},
	{13, "When we tell you something", "\"Quiet\" means that we cannot see the kiln, not that it is cold or off.", "own"},
	{14, "When we tell you something", "Over the limit: go to the kiln if it is safe, use its own switch and the wall isolator as its maker says. Smoke or fire: get out, call.", "own, practice"},
	{15, "When we tell you something", "This program cannot turn anything off and never will. Fit the independent over-temperature protection that your maker offers.", "own, practice"},
	{16, "Opening and unpacking", "The figure is one spot. Shelves, posts and thick lids stay hotter.", "practice"},
	{17, "Opening and unpacking", "Wait for your unpacking mark. Default 50 °C, cautious; habits run from 95 to 200 °C; slower is kinder to ware, brick and skin. Burns depend on material and seconds of touch: ISO 13732-1.", "own; practice; ISO"},
	{18, "Opening and unpacking", "Switch off at the isolator before reaching in: elements can be live. Never defeat a lid or door switch. Heat-proof gloves, sleeves, eye protection; glaze splinters cut.", "HS-2000; HSE-3; practice"},
	{19, "Opening and unpacking", "Measure bars at room warmth: safer, and a warm bar reads long (about 0.05 mm per 100 mm at 80 °C over; calculated with 6e-6 per °C, memory).", "practice"},
	{20, "Opening and unpacking", "Kiln wash, chipped brick and fibre lining shed dust that must not be swept dry; old linings may hold asbestos: do not disturb, ask.", "HSE-3; COSHH"},
	{21, "Lids, clay, glaze and grinding dust", "Clay and glaze dust holds respirable crystalline silica. US limit 50 micrograms per cubic metre over 8 h, action level 25 (29 CFR 1910.1053); UK 0.1 mg per cubic metre (EH40; look up the edition in force).", "OSHA-SI; EH40"},
	{22, "Lids, clay, glaze and grinding dust", "No dry sweeping or brushing where it can add to exposure; wet-wipe, mop or HEPA vacuum; no compressed air.", "OSHA-SW"},
	{23, "Lids, clay, glaze and grinding dust", "Lid too tight? First reject it; else wet grinding or wet paper with a drip, outdoors or under extraction, a fitted respirator, wipe up wet. Sanding bone-dry rims is the dustiest way there is: HSE gives dry fettling a sheet of its own.", "COSHH"},
	{24, "Lids, clay, glaze and grinding dust", "Mixing dry clay or glaze: extraction, respirator, lid on the bin; better buy plastic clay.", "COSHH; UNI"},
	{25, "Lids, clay, glaze and grinding dust", "Wash hands, change the apron, never eat at the wheel.", "practice"},
	{38, "Lids, clay, glaze and grinding dust", "Eye protection when freeing or grinding a lid: glaze splinters fly. Tap with wood, never pry; warm and cold water on one pot crack it.", "practice"},
	{39, "Lids, clay, glaze and grinding dust", "Seat glazed and fired in place: lid and pot will fuse. Wipe seat and lid edge bare, or fire them apart; at the hottest glaze firings alumina in the wax keeps even bare clay from sticking.", "practice; alumina: memory"},
	{26, "Wiring and the Pi", "The kiln's circuit is for a licensed electrician, by the electrical code in force (NEC/NFPA 70 in much of the US; in the UK the Electricity at Work Regulations 1989 and the work equipment rules of 1998).", "memory; HSE-3"},
	{27, "Wiring and the Pi", "Connect only to the port that the controller's maker provides. Do not open the control box, splice the probe or share its wires: it may spoil the reading that the kiln itself relies on.", "own"},
	{28, "Wiring and the Pi", "Use an isolated USB adapter; keep Pi, cable and supply off the kiln's case, out of the heat and out of the vent's stream.", "own, memory"},
	{29, "Wiring and the Pi", "Never block a door, isolator or extinguisher with this equipment; ovens and furnaces at work may fall under NFPA 86 or other local rules: ask the authority.", "memory"},
	{30, "Wiring and the Pi", "Unplug our lead when anyone services the kiln.", "own"},
	{31, "School and class", "Kilns do not belong in the classroom: own lockable room, trained user, ventilation tested and recorded.", "CA"},
	{32, "School and class", "Students measure cold bars only; the person in charge of the kiln opens it.", "own"},
	{33, "What our numbers are not", "A lid that fits does not make ware safe for food, oven or flame: test glazes and ware as the rules of your country ask.", "own"},
	{34, "What our numbers are not", "Shrinkage varies from bag to bag. Throw a spare.", "own"},
	{35, "What our numbers are not", "Written for electric kilns; fuel kilns have more hazards (gas, flame, carbon monoxide by intent in reduction): see their maker. Raku is not for the automatic.", "own"},
}

// CautionText is the text of one number, empty if there is none.
func CautionText(number int) string {
	for _, c := range Cautions {
		if c.Number == number {
			return c.Text
		}
	}
	return ""
}

// cautionTexts are those of some numbers, in their order, each once.
func cautionTexts(numbers ...int) []string {
	var out []string
	for i, n := range numbers {
		if !slices.Contains(numbers[:i], n) {
			out = append(out, CautionText(n))
		}
	}
	return out
}

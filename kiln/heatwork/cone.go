package heatwork

import (
	"fmt"
	"strconv"
	"strings"

	"lidwright/kiln"
	"lidwright/kiln/message"
)

// Cone is one rung of the ladder of pyrometric cones as the model has it.
type Cone struct {
	Label    string       // as pressed into the cone: 06 is not 6; 05.5 and 5.5 are the half cones
	Position float64      // place on the ladder: 022 = 0, 01 = 21, 1 = 22, 14 = 35
	Tau      kiln.Celsius // end point at 60 °C/h, which is its heat work
	S        kiln.Celsius // how far the end point moves for each e-fold of the rate
}

// The series whose end points are in cones.csv. SeriesSelfSupporting is the main one, which
// all heat work is told in.
const (
	SeriesSelfSupporting         kiln.Series = "large_self_supporting"
	SeriesSelfSupportingIronFree kiln.Series = "large_self_supporting_iron_free"
	SeriesPlaque                 kiln.Series = "large_plaque"
	SeriesPlaqueIronFree         kiln.Series = "large_plaque_iron_free"
	SeriesPlaqueOlder            kiln.Series = "large_plaque_older"
	SeriesSmall                  kiln.Series = "small"
)

// segerApart is how far cones of one number of the Seger and of the main series end apart at most, as
// kiln.Series has it.
const segerApart kiln.Warmer = 54

// ConeError says in words why a text names no cone that can be reckoned with.
type ConeError struct {
	Text    string          // as typed
	Why     message.Message // a sentence for the potter
	Series  bool            // it is in its series that the cone is not
	Nearest string          // the nearest right thing to type, empty if there is none
}

// Error is Says in English.
func (e *ConeError) Error() string {
	return e.Says().String()
}

// Says is what is wrong, and the nearest right thing to type.
func (e *ConeError) Says() message.Message {
	if e.Nearest == "" {
		return e.Why
	}
	return message.Join(" ", e.Why, message.New("The nearest is {1}.", e.Nearest))
}

// rungLabels are the rungs of the ladder from least to most heat work. There is no cone 0.
var rungLabels = [rungCount]string{
	"022", "021", "020", "019", "018", "017", "016", "015", "014", "013", "012", "011", "010",
	"09", "08", "07", "06", "05.5", "05", "04", "03", "02", "01",
	"1", "2", "3", "4", "5", "5.5", "6", "7", "8", "9", "10", "11", "12", "13", "14",
}

// rungPosition is the place of rung i on the ladder: whole cones count one each, half cones
// lie between.
func rungPosition(i int) float64 {
	const half05, half5 = 17, 28 // indices of 05.5 and 5.5
	switch {
	case i < half05:
		return float64(i)
	case i == half05:
		return 16.5
	case i < half5:
		return float64(i - 1)
	case i == half5:
		return 26.5
	}
	return float64(i - 2)
}

// wholeConeLabel is the label of the whole cone at place n, 0 to 35.
func wholeConeLabel(n int) string {
	if n < 22 {
		return fmt.Sprintf("0%d", 22-n)
	}
	return fmt.Sprint(n - 21)
}

// tidyCone takes what people write around a cone's number off it: "cone 6", "Cone 06", "^6".
func tidyCone(text string) string {
	t := strings.ToLower(strings.TrimSpace(text))
	t = strings.TrimSpace(strings.TrimPrefix(t, "cone"))
	t = strings.TrimLeft(t, "^△∆Δδ")
	t = strings.ReplaceAll(t, "½", ".5")
	return strings.TrimSpace(t)
}

// coneIndex finds the rung named by text, or says in words why there is none.
func coneIndex(text string) (int, error) {
	t := tidyCone(text)
	for i, label := range rungLabels {
		if label == t {
			return i, nil
		}
	}
	return 0, noSuchCone(text, t)
}

// noSuchCone explains a text t (already tidied) that names no rung.
func noSuchCone(text, t string) error {
	e := &ConeError{Text: text}
	digits := strings.Trim(t, "0123456789") == ""
	number := strings.TrimLeft(t, "0")
	// from what is surely meant to what nobody can guess; each with the nearest label where there is one
	switch {
	case t == "":
		e.Why = message.New("No cone was named. Write the number pressed into the cone, such as 06 or 6.")
	case digits && number == "":
		e.Why = message.New("There is no cone 0: the ladder goes 03, 02, 01, 1, 2, 3.")
		e.Nearest = "01 or 1"
	case strings.HasPrefix(t, "o") && strings.Trim(t[1:], "0123456789") == "" && len(t) > 1:
		e.Why = message.New("{1} begins with the letter o.", strconv.Quote(text))
		if label := "0" + t[1:]; isCone(label) {
			e.Nearest = label
		}
	case strings.HasSuffix(t, "a") && len(t) > 1:
		e.Why = message.New("{1} is a cone of the European (Seger) ladder, which is another scale: cones of one number end up to {2} apart, and at what rates its end points hold is not known here. It cannot be turned into heat work.", t, segerApart)
	case digits && t[0] == '0' && len(number) < len(t)-1:
		e.Why = message.New("No cone is called {1}.", t)
		if isCone("0" + number) {
			e.Nearest = "0" + number
		}
	case digits && t[0] == '0':
		e.Why = message.New("Cone {1} lies below the ladder, which begins at 022.", t)
		e.Nearest = "022"
	case digits:
		e.Why = message.New("Cone {1} lies above the ladder, which ends at 14; higher cones are for refractories.", t)
		e.Nearest = "14"
	default:
		e.Why = message.New("{1} is no cone. Write the number pressed into the cone, such as 06 or 6, and tenths of the way to the next as in 6+0.3.", strconv.Quote(text))
		if label, tenth, ok := strings.Cut(t, "."); ok && isCone(label) && len(tenth) == 1 &&
			tenth >= "0" && tenth <= "9" {
			e.Nearest = label + "+0." + tenth
		}
	}
	return e
}

// isCone reports whether label is a rung as it is written here.
func isCone(label string) bool {
	for _, l := range rungLabels {
		if l == label {
			return true
		}
	}
	return false
}

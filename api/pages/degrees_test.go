package pages

import "testing"

// Sentences as °F has them: 1 °C is 1.8 °F wide, 0 °C is 32 °F (the definition; NIST SP 811, B.8). Differences,
// rates and what is said of a field keep their zero.
func TestInFahrenheit(t *testing.T) {
	for celsius, want := range map[string]string{
		"Peak 1222 °C, first reached after 8 h 24": "Peak 2232 °F, first reached after 8 h 24",
		"from 300 to 900 °C at 100 °C/h":           "from 572 to 1652 °F at 180 °F/h",
		"zwischen etwa 1200 und 1250 °C":           "zwischen etwa 2192 und 2282 °F",
		"Your probe reads 6 °C low (likely 3 to 9, from 4 firings) and drifts 1.5 °C lower a firing": "Your probe reads 11 °F low (likely 5 to 16, from 4 firings) and drifts 2.7 °F lower a firing",
		"Within 10 °C of the peak":                      "Within 18 °F of the peak",
		"die Sonde zeigt 6,5 °C zu wenig":               "die Sonde zeigt 11,7 °F zu wenig",
		"give or take 5.0 °C":                           "give or take 9.0 °F",
		"must be a number from 20 to 200 °C: 50 unless": "must be a number from 20 to 200 °C: 50 unless",
		"Two bars, 12.5 % at cone 7":                    "Two bars, 12.5 % at cone 7",
		"40 °C more heat work than usual":               "72 °F more heat work than usual",
		"Keep it shut until it reads below: 50 °C.":     "Keep it shut until it reads below: 122 °F.",
	} {
		if got := inFahrenheit(celsius); got != want {
			t.Errorf("%q is %q, want %q", celsius, got, want)
		}
	}
	const page = "<p>Needed over 50 °C</p>\n<label>Top °C</label><input>\n<th>Top °C</th>"
	if got := pageInFahrenheit(page); got != "<p>Needed over 122 °F</p>\n<label>Top °C</label><input>\n<th>Top °F</th>" {
		t.Error(got)
	}
}

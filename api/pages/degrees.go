package pages

import (
	"regexp"
	"strconv"
	"strings"
)

// Temperatures are kept, computed and sent by the API in °C. Who reads °F is shown °F: figures by Locale.Degrees
// and its like, sentences of the code and what stands fixed in a page here, once their language is theirs. A
// field that is typed into keeps °C, and says so.

// inCelsius finds a temperature with its unit in a sentence, or two of them of which the second has it, and what
// stands around by which a difference is told from a temperature.
var inCelsius = regexp.MustCompile(`(?i)(\b(?:within|innerhalb|last|letzten|first|ersten|take|um|by) |± ?|[+−-])?(\d+(?:[.,]\d+)?)(?:( to | and | bis | und | – |–)(\d+(?:[.,]\d+)?))? ?°C(/h)?( (?:low|lower|high|higher|more|less|hotter|colder|warmer|off|was added|zu|tiefer|höher|mehr|weniger|heißer|wärmer|kälter|neben|of heat work|Brennarbeit)\b)?(?: \((likely|wahrscheinlich) (-?\d+(?:[.,]\d+)?)( to | bis )(-?\d+(?:[.,]\d+)?))?`)

// ofAField is how a sentence begins that is about a field of °C.
var ofAField = regexp.MustCompile(`^(must |is needed |muss |wird |fehlt )`)

// inFahrenheit is a sentence with its temperatures in °F: differences and rates times 1.8, temperatures 32 more.
func inFahrenheit(text string) string {
	if !strings.Contains(text, "°C") || ofAField.MatchString(text) {
		return text
	}
	return inCelsius.ReplaceAllStringFunc(text, func(one string) string {
		p := inCelsius.FindStringSubmatch(one)
		before, low, between, high, rate, after := p[1], p[2], p[3], p[4], p[5], p[6]
		zero := 32.0
		if before != "" || rate != "" || after != "" {
			zero = 0
		}
		out := before + fahrenheit(low, zero)
		if high != "" {
			out += between + fahrenheit(high, zero)
		}
		out += " °F" + rate + after
		if p[7] != "" {
			out += " (" + p[7] + " " + fahrenheit(p[8], zero) + p[9] + fahrenheit(p[10], zero)
		}
		return out
	})
}

// fahrenheit is a number of °C in °F, with as many places as it came with.
func fahrenheit(number string, zero float64) string {
	v, err := strconv.ParseFloat(strings.Replace(number, ",", ".", 1), 64)
	if err != nil {
		return number
	}
	places := 0
	if i := strings.IndexAny(number, ".,"); i >= 0 {
		places = len(number) - i - 1
	}
	text := strconv.FormatFloat(v*1.8+zero, 'f', places, 64)
	if strings.Contains(number, ",") {
		text = strings.Replace(text, ".", ",", 1)
	}
	return text
}

// pageInFahrenheit is the source of a page that is not compiled with the temperatures that stand fixed in it in
// °F; a line with a field on it stays, as what is typed there is read in °C.
func pageInFahrenheit(source string) string {
	lines := strings.Split(source, "\n")
	for i, line := range lines {
		if !strings.Contains(line, "<input") && !strings.Contains(line, "<textarea") {
			lines[i] = strings.ReplaceAll(inFahrenheit(line), "°C", "°F")
		}
	}
	return strings.Join(lines, "\n")
}

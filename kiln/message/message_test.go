package message

import (
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"
)

var german = Reader{Comma: true, Unit: "cm", Text: func(k Key) string {
	return map[Key]string{"dry": "trocken", "the firing of {1} is over": "der Brand von {1} ist vorbei",
		"{1} of {2}": "{2} hat {1}",
		"{1} bars":   "{1} Stäbe", "1 bar": "1 Stab", "it is {1}": "er ist [1]",
		"{1} % of it": "{1} % davon"}[k]
}}

// What people typed stays as it is, though it is a word of the trade, a place or a text of the table.
func TestNamesAreNeverLookedUp(t *testing.T) {
	for _, name := range []string{"dry", "{1}", "{2}", "[1]", "1 bar", "the firing of {1} is over", "",
		"\x00", "%s", "<b>"} {
		m := New("the firing of {1} is over", name)
		if got, want := m.Render(german), "der Brand von "+name+" ist vorbei"; got != want {
			t.Errorf("%q is %q", name, got)
		}
		if got, want := m.String(), "the firing of "+name+" is over"; got != want {
			t.Errorf("%q is %q in English", name, got)
		}
	}
	if got := New("it is {1}", New("dry")).Render(german); got != "er ist trocken" {
		t.Errorf("a word that is looked up is %q", got)
	}
}

func TestRender(t *testing.T) {
	dry, name := New("dry"), Plain("dry")
	for _, c := range []struct {
		m             Message
		english, says string
	}{
		{Message{}, "", ""},
		{Plain(""), "", ""},
		{New("{1} of {2}", 1, int64(2)), "1 of 2", "2 hat 1"},
		{New("{1} of {2}", 1), "1 of {2}", "{2} hat 1"},
		{New("no such key {1}", "x"), "no such key x", "no such key x"},
		{Count(1, "1 bar", "{1} bars"), "1 bar", "1 Stab"},
		{Count(12, "1 bar", "{1} bars"), "12 bars", "12 Stäbe"},
		{New("{1} % of it", Percent(0.1234, 1)), "12.3 % of it", "12,3 % davon"},
		{New("{1} of {2}", Number{Value: -0.04, Places: 1}, Number{Value: -0.06, Places: 1}),
			"0.0 of -0.1", "-0,1 hat 0,0"},
		{New("{1} of {2}", 1, 2.5), "1 of –", "– hat 1"},
		{Join(", ", dry, Message{}, name), "dry, dry", "trocken, dry"},
		{Join(", ", Message{}), "", ""},
		{Join(", ", dry), "dry", "trocken"},
		{Sentence(Join("; ", dry, name)), "Dry; dry.", "Trocken; dry."},
		{Sentence(New("éh?")), "Éh?", "Éh?"},
		{Sentence(Message{}), "", ""},
		{Sentence(Plain("over!")), "Over!", "Over!"},
		{Sentence(Plain(" ")), " .", " ."},
		{Sentence(New("{1}", "")), "", ""},
		{Capital(New("dry")), "Dry", "Trocken"},
		{Capital(Message{}), "", ""},
		{Stopped(New("dry")), "dry.", "trocken."},
		{Stopped(New("is it dry?")), "is it dry?", "is it dry?"},
		{Stopped(Message{}), "", ""},
		{New("{1}, {2}", Number{Value: 2.5, Places: 1, Sign: true}, Number{Value: 2.5, Places: 1}),
			"+2.5, 2.5", "+2,5, 2,5"},
		{New("{1}, {2}", Number{Sign: true}, Number{Value: -2, Sign: true}), "+0, -2", "+0, -2"},
		{New("{1}", Figure(0.125)), "0.125", "0,125"},
		{New("{1} {90} {09} {1b} {:1}", "a"), "a {90} {09} {1b} {:1}", "a {90} {09} {1b} {:1}"},
		{New("{10} {1}", "a", "b", "c", "d", "e", "f", "g", "h", "i", "j"), "j a", "j a"},
		{New("{0} {x} {} { {100} [a] [", "a"), "{0} {x} {} { {100} [a] [", "{0} {x} {} { {100} [a] ["},
	} {
		if got := c.m.String(); got != c.english {
			t.Errorf("%q in English, want %q", got, c.english)
		}
		if got := c.m.Render(german); got != c.says {
			t.Errorf("%q in German, want %q", got, c.says)
		}
	}
}

// A sentence of nothing says nothing, so that a row of texts leaves it out.
func TestSentenceOfNothing(t *testing.T) {
	if !Sentence(Message{}).IsZero() || !Stopped(Message{}).IsZero() || Sentence(New("dry")).IsZero() {
		t.Error("what says nothing became a sentence, or the other way round")
	}
	if got := Join(" ", Sentence(New("dry")), Sentence(Message{}), Stopped(Message{}),
		Stopped(New("dry"))).String(); got != "Dry. dry." {
		t.Errorf("%q", got)
	}
}

// A time is told in the words of its reader, on his clock: a day with its time, the day alone, or the clock
// alone.
func TestTimes(t *testing.T) {
	at := time.Date(2026, 3, 2, 15, 4, 0, 0, time.UTC) // a Monday
	table := map[Key]string{"Mon 2 Jan 2006": "Mon, 2. Jan 2006", "Mon": "Mo", "Mar": "März"}
	words := func(k Key) string { return table[k] }
	for _, c := range []struct {
		time        Time
		r           Reader
		want, twice string // by a clock of twice twelve hours
	}{
		{At(at, ""), Reader{}, "15:04", "3:04 pm"},
		{At(at, "Mon 2 Jan 2006"), Reader{}, "Mon 2 Mar 2026 15:04", "Mon 2 Mar 2026 3:04 pm"},
		{At(at, "Mon 2 Jan 2006"), Reader{Text: words}, "Mo, 2. März 2026 15:04", "Mo, 2. März 2026 3:04 pm"},
		{Time{At: at, Day: "2006-01-02", Quiet: true}, Reader{}, "2026-03-02", "2026-03-02"},
		{At(at.Add(-12*time.Hour), ""), Reader{}, "03:04", "3:04 am"},
	} {
		if got := c.time.Render(c.r); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
		c.r.Twelve = true
		if got := c.time.Render(c.r); got != c.twice {
			t.Errorf("%q, want %q", got, c.twice)
		}
	}
}

// A name may be of a type of its own; a text without a place is itself, and places are told by their number.
func TestFill(t *testing.T) {
	type site string
	if got := New("the firing of {1} is over",
		site("dry")).Render(german); got != "der Brand von dry ist vorbei" {
		t.Error(got)
	}
	for text, want := range map[string]string{"": "", "plain": "plain", "{1}": "<0>", "a [12] b": "a <11> b",
		"{99}{100}": "<98>{100}", "{01}": "{01}", "{1]": "{1]", "[1}": "[1}", "{1": "{1",
		"{1:}": "{1:}", "{/}": "{/}",
		"{9}": "<8>", "{{1}": "{<0>"} {
		got := Fill(text, func(n int) (string, bool) { return "<" + strconv.Itoa(n) + ">", true })
		if got != want {
			t.Errorf("%q becomes %q, want %q", text, got, want)
		}
	}
}

// What a record keeps of a message is read again in any language: names, words and the messages in it.
func TestKept(t *testing.T) {
	for _, m := range []Message{{}, New("it is {1}", New("dry")), New("it is {1}", Word("dry")), Plain("dry"),
		Plain(`{"key":`),
		New("the firing of {1} is over", "dry"), Sentence(New("it is {1}", Word("dry"))),
		Count(12, "1 bar", "{1} bars"), New("{1} % of it", Percent(0.1234, 1))} {
		back := Read(m.Kept())
		if got, want := back.String(), m.String(); got != want {
			t.Errorf("%q comes back as %q", want, got)
		}
		if again := back.Kept(); again != Read(again).Kept() {
			t.Errorf("%s is kept again as %s", again, Read(again).Kept())
		}
	}
	for _, c := range []struct{ kept, want string }{
		{New("it is {1}", Word("dry")).Kept(), "er ist trocken"},
		{New("it is {1}", New("dry")).Kept(), "er ist trocken"},
		{New("the firing of {1} is over", "dry").Kept(), "der Brand von dry ist vorbei"},
		{"Is it right?", "Is it right?"}, {"", ""}, {`{"key":1}`, `{"key":1}`},
	} {
		if got := Read(c.kept).Render(german); got != c.want {
			t.Errorf("%s is %q, want %q", c.kept, got, c.want)
		}
	}
}

// Names are changed wherever they stand, words and keys are not.
func TestNames(t *testing.T) {
	m := Sentence(Join("; ", New("the firing of {1} is over", "dry"), New("it is {1}", Word("dry"))))
	if got := m.Names(strings.ToUpper).Render(german); got != "Der Brand von DRY ist vorbei; er ist trocken." {
		t.Error(got)
	}
}

// An error that is another too is known as both, and says its own message.
func TestWrapError(t *testing.T) {
	busy := NewError("it is busy")
	gone := WrapError(busy, "it is {1}", "gone")
	if !errors.Is(gone, busy) || Of(gone).String() != "it is gone" ||
		Of(fmt.Errorf("open: %w", gone)).String() != "it is gone" {
		t.Errorf("%v", gone)
	}
}

// Over the API a message is its English, and what comes back says the same.
func TestJSON(t *testing.T) {
	type answer struct {
		Says Message `json:"says"`
		Why  Message `json:"why,omitzero"`
	}
	b, err := json.Marshal(answer{Says: New("it is {1}", New("dry"))})
	if err != nil || string(b) != `{"says":"it is dry"}` {
		t.Errorf("%s, %v", b, err)
	}
	var back answer
	if err := json.Unmarshal([]byte(`{"says":"it is {1}","why":""}`), &back); err != nil {
		t.Fatal(err)
	}
	if got := back.Says.Render(german); got != "it is {1}" || !back.Why.IsZero() {
		t.Errorf("%q came back, why %q", got, back.Why)
	}
	var m Message
	if err := error(New("it is {1}", "dry")); !errors.As(err, &m) || err.Error() != "it is dry" {
		t.Errorf("as an error: %v", err)
	}
}

// A text comes out whole whatever it holds: what stands outside of places stays, in its order, and a name
// stands in it as it was typed.
func FuzzRender(f *testing.F) {
	f.Add("the firing of {1} is over", "dry")
	f.Add("{1}{2}[1]{", "{2}")
	f.Add("[[[1]]]", "[1]")
	f.Fuzz(func(t *testing.T, key, name string) {
		got := Message{Key(key), []any{name}}.String()
		marked := Message{Key(key), []any{"\x01"}}.String()
		if !strings.Contains(key, "\x01") && strings.ReplaceAll(marked, "\x01", name) != got {
			t.Errorf("%q with %q is %q, and %q with a mark", key, name, got, marked)
		}
		back := strings.NewReplacer("[1]", "\x01", "{1}", "\x01").Replace(key)
		if !strings.Contains(key, "\x01") && back != marked {
			t.Errorf("%q becomes %q", key, marked)
		}
	})
}

func ExampleNew() {
	kiln := "dry" // somebody calls a kiln so: a name is never looked up
	m := New("the firing of {1} is over", kiln)
	fmt.Println(m)
	fmt.Println(m.Render(german))
	// Output:
	// the firing of dry is over
	// der Brand von dry ist vorbei
}

func ExampleCount() {
	for _, n := range []int{1, 3} {
		fmt.Println(Count(n, "1 bar", "{1} bars").Render(german))
	}
	// Output:
	// 1 Stab
	// 3 Stäbe
}

func ExampleJoin() {
	said := []Message{New("dry"), {}, Count(2, "1 bar", "{1} bars")}
	fmt.Println(Join(", ", said...).Render(german))
	fmt.Println(Sentence(Join("; ", said...)))
	// Output:
	// trocken, 2 Stäbe
	// Dry; 2 bars.
}

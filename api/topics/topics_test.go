package topics

import (
	"strings"
	"testing"
)

// Every file is a topic that is listed, with a title, a line about it and a text; its page has the headings,
// lists, blocks and drawings of it and nothing that Markdown left over.
func TestTopics(t *testing.T) {
	entries, err := files.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]bool{}
	for _, tongue := range []string{"en", "de"} {
		for _, topic := range All(tongue) {
			listed[topic.Name] = true
			page, err := topic.HTML(func(name string) string { return "<svg></svg>" })
			if err != nil || topic.Title == "" || topic.About == "" || strings.Contains(topic.About, "#") {
				t.Errorf("%+v: %v", topic, err)
			}
			if strings.Contains(page, "**") || strings.Contains(page, "```") ||
				strings.Contains(page, "![") || !strings.Contains(page, "<h2") {
				t.Errorf("%s: marks are left over, or no heading was made", topic.Name)
			}
			if n, drawn := strings.Count(topic.text, "!["), strings.Count(page, "</svg>"); n != drawn {
				t.Errorf("%s: %d of %d drawings", topic.Name, drawn, n)
			}
		}
	}
	for _, e := range entries {
		if name, _, _ := strings.Cut(e.Name(), "."); strings.HasSuffix(e.Name(), ".md") && !listed[name] {
			t.Errorf("%s is on no list", e.Name())
		}
	}
	if _, ok := Find("../help", "en"); ok {
		t.Error("a path is a topic")
	}
}

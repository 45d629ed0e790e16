package usecase

import (
	"fmt"
	"strings"

	"lidwright/api/wire"
)

func Sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" || strings.HasSuffix(s, ".") || strings.HasSuffix(s, "?") {
		return s
	}
	return s + "."
}

func UnknownWord(field, got string, known ...string) *Refusal {
	says := fmt.Sprintf("not one of %s", strings.Join(known, ", "))
	return refuse("unknown-value", field+": "+says+".", wire.Field{Name: field, Says: says})
}

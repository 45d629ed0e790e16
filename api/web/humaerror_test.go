package web

import (
	"testing"

	"github.com/danielgtaylor/huma/v2"
)

// A member that is called body has its name; the whole of a body has none.
func TestMemberCalledBody(t *testing.T) {
	for location, want := range map[string]string{"body.body": "body", "body": "",
		"body.bars[1].bar": "bars[1].bar",
		"query.body":       "body", "path.id": "id"} {
		err := HumaError(422, "", &huma.ErrorDetail{Location: location, Message: "expected length <= 65"})
		p, is := err.(*Problem)
		if !is || len(p.Fields) != 1 || p.Fields[0].Name != want ||
			p.Fields[0].Says.String() != "at most 65 characters" {
			t.Errorf("%s is told as %+v", location, err)
		}
	}
}

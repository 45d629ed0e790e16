package collector

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/uuid"

	"lidwright/api/auth"
	"lidwright/api/collectorpages"
	"lidwright/api/wire"
	"lidwright/config"
	"lidwright/daemon/collector/postgres"
	"lidwright/kiln/heatwork"
)

// Owner is what the collector's owner does on the machine itself.
type Owner struct{ *postgres.Store }

// OpenOwner opens the database of the settings; Close ends it.
func OpenOwner(ctx context.Context, cfg config.Collect) (Owner, error) {
	s, err := postgres.Open(ctx, cfg.Database.URL, 2)
	return Owner{s}, err
}

// Add makes the code with which a new studio joins within a day.
func (o Owner) Add(ctx context.Context, name string) (code string, err error) {
	code = auth.NewPasscode(auth.Owner)
	return code, o.Invite(ctx, collectorpages.Signs(code), name, "")
}

// Again makes a code with which a studio that is there joins anew, on another machine or with a new key.
func (o Owner) Again(ctx context.Context, site string) (code string, err error) {
	one, err := o.Site(ctx, site)
	if err != nil {
		return "", err
	}
	code = auth.NewPasscode(auth.Owner)
	return code, o.Invite(ctx, collectorpages.Signs(code), one.Name, site)
}

// NewBody enters a body that matures at a cone into the catalogue.
func (o Owner) NewBody(ctx context.Context, supplier, number, name, cone string) (id string, err error) {
	at, err := heatwork.MainConeScale().Parse(cone)
	if err != nil {
		return "", fmt.Errorf("cone %q: %w", cone, err)
	}
	for _, text := range []string{supplier, name} {
		if strings.TrimSpace(text) == "" || len(text) > 200 {
			return "", fmt.Errorf("supplier and name are needed, of 200 signs at most: %.40q", text)
		}
	}
	return o.AddBody(ctx, wire.CatalogueBody{Supplier: supplier, Number: number, Name: name, Cone: cone,
		MaturesC: float64(at)})
}

// IsSite reports whether a text may be the id of a studio.
func IsSite(text string) bool {
	id, err := uuid.Parse(text)
	return err == nil && id.String() == text
}

// NewOwnerCode makes the passcode of the pages and keeps its hash in a file.
func NewOwnerCode(file string) (code string, err error) {
	code = auth.NewPasscode(auth.Owner)
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		return "", fmt.Errorf("keep the code: %w", err)
	}
	if err := os.WriteFile(file, []byte(auth.HashPasscode(code).String()+"\n"), 0o600); err != nil {
		return "", fmt.Errorf("keep the code: %w", err)
	}
	return code, nil
}

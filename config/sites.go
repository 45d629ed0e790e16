package config

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// NamedSite is a daemon elsewhere that somebody gave a name, to ask it by that name.
type NamedSite struct {
	Address  string `toml:"address"`             // http://HOST:PORT
	CodeFile string `toml:"code_file,omitempty"` // holds the passcode that it is asked with; "" = none
}

// SitesFile is where a person's sites stand: sites.toml in $XDG_CONFIG_HOME/lidwright, by default under
// ~/.config.
func SitesFile() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("no folder for the names of sites: %w", err)
	}
	return filepath.Join(dir, "lidwright", "sites.toml"), nil
}

// siteName is a name as those of kilns: no dot and no colon, so that it is never taken for an address.
var siteName = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,59}$`)

// IsSiteName reports whether a site can be called so.
func IsSiteName(name string) bool { return siteName.MatchString(name) }

// ReadSites reads the sites that a file names, none where it is not there. Errors: Mistakes with the line.
func ReadSites(path string) (map[string]NamedSite, error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return map[string]NamedSite{}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the names of sites: %w", err)
	}
	sites := map[string]NamedSite{}
	err = toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields().Decode(&sites)
	var unknown *toml.StrictMissingError
	var bad *toml.DecodeError
	switch {
	case errors.As(err, &unknown):
		line, _ := unknown.Errors[0].Position()
		return nil, Mistakes{{File: path, Line: line, Key: strings.Join(unknown.Errors[0].Key(), "."),
			Says: "is none of address and code_file"}}
	case errors.As(err, &bad):
		line, _ := bad.Position()
		return nil, Mistakes{{File: path, Line: line, Key: strings.Join(bad.Key(), "."),
			Says: strings.TrimPrefix(bad.Error(), "toml: ")}}
	case err != nil:
		return nil, Mistakes{{File: path, Line: 1, Says: err.Error()}}
	}
	return sites, nil
}

// WriteSites puts sites into a file in one step; its folder is made where it is not there.
func WriteSites(path string, sites map[string]NamedSite) error {
	data, err := toml.Marshal(sites)
	if err != nil {
		return fmt.Errorf("write the names of sites: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return fmt.Errorf("write the names of sites: %w", err)
	}
	if err := os.WriteFile(path+".new", data, 0o600); err != nil {
		return fmt.Errorf("write the names of sites: %w", err)
	}
	if err := os.Rename(path+".new", path); err != nil {
		return fmt.Errorf("write the names of sites: %w", err)
	}
	return nil
}

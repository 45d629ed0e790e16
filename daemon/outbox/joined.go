package outbox

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"lidwright/api/wire"
)

// joined is what a studio keeps of its collector, in a file of its own that nobody else may read: the
// record and its copies hold no key.
type joined struct {
	URL    string `json:"url"`
	Name   string `json:"name"` // what the collector calls this studio
	Token  string `json:"token"`
	CAFile string `json:"ca_file,omitempty"`
	wire.CollectorPurposes
}

const joinedFile = "collector.json"

// readJoined gives the zero value where no collector was joined.
func readJoined(folder string) (j joined, err error) {
	path := filepath.Join(folder, joinedFile)
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return j, nil
	}
	if err != nil {
		return j, fmt.Errorf("read which collector was joined: %w", err)
	}
	if err := json.Unmarshal(data, &j); err != nil || j.URL == "" || j.Token == "" {
		return joined{}, fmt.Errorf("%s is damaged (%v); leave the collector and join it again", path, err)
	}
	return j, nil
}

func (j joined) write(folder string) error {
	data, err := json.MarshalIndent(j, "", "  ")
	if err != nil {
		return err
	}
	if err := writeWhole(filepath.Join(folder, joinedFile), data); err != nil {
		return fmt.Errorf("keep which collector was joined: %w", err)
	}
	return nil
}

// writeWhole puts a file of ours alone in the place of what was there, whole or not at all.
func writeWhole(path string, data []byte) error {
	part, err := os.OpenFile(path+".part", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = part.Write(append(data, '\n'))
	err = errors.Join(err, part.Sync(), part.Close())
	if err == nil {
		err = os.Rename(part.Name(), path)
	}
	if err != nil {
		os.Remove(part.Name())
	}
	return err
}

func removeJoined(folder string) error {
	if err := os.Remove(filepath.Join(folder, joinedFile)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("leave the collector: %w", err)
	}
	return nil
}

package daemon

import (
	"context"
	"math/rand/v2"
	"time"

	"lidwright/config"
	"lidwright/daemon/store"
	"lidwright/tiles"
)

// SaveCarry writes everything of the store of the settings into one file, which must not be there
// yet. A daemon may run meanwhile.
func SaveCarry(ctx context.Context, cfg config.Config, path, version string) (store.CarryManifest, error) {
	return store.SaveCarry(ctx, cfg.Store.Folder, path, version, time.Now())
}

// Carried says what a carry file brings, or would bring.
type Carried = store.Carried

// TakeCarry takes a carry file into the store of the settings; dry only asks. A daemon may run meanwhile:
// it notices.
func TakeCarry(ctx context.Context, cfg config.Config, path string, same []string, dry bool,
	version string) (Carried, error) {
	if err := makeFolder(cfg.Store.Folder); err != nil {
		return Carried{}, err
	}
	s, err := openedBeside(ctx, cfg, version)
	if err != nil {
		return Carried{}, err
	}
	defer s.Close()
	if !dry {
		if _, err := s.Copy(ctx); err != nil { // what was there before can be had again
			return Carried{}, err
		}
	}
	rng := rand.New(rand.NewPCG(rand.Uint64(), rand.Uint64()))
	return s.TakeCarry(ctx, path, same, dry, func(used map[tiles.Code]bool) (tiles.Code, error) {
		codes, err := tiles.Alphabet(cfg.Bars.Alphabet).Free(1, func(c tiles.Code) bool { return used[c] },
			rng)
		if err != nil {
			return "", err
		}
		return codes[0], nil
	})
}

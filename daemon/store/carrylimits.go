package store

import (
	"archive/zip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"golang.org/x/sys/unix"
)

// What a carry file may hold at most. A site of a hundred years stays far below; a file that was made to
// fill the memory or the card is refused before it does.
const (
	mostManifest  = 16 << 20 // bytes of manifest.json
	mostFiles     = 100_000
	mostTable     = 256 << 20 // bytes of all tables
	mostTightness = 200       // times as many bytes of a table as it takes in the zip; a real one has ten
	mostCarryRow  = 1 << 20   // bytes of one row
	mostBlob      = 16 << 20  // a firing of ten days with a dozen probes has a third of it
	mostNamed     = 200_000   // rows of a table that has names
	mostRows      = 2_000_000 // of any other
	mostName      = 64        // bytes of the name of a clay, a bar or a kiln
	mostSummary   = 1 << 20   // of a firing, as it is kept
)

// fits holds the sizes of a carry file, as its own list of files says them, against what it may hold and
// what is free where it is to be unfolded. archive/zip gives no more of a file than the list says.
func fits(z *zip.Reader, folder string) error {
	if len(z.File) > mostFiles {
		return fmt.Errorf("%w: it has %d files, and at most %d are taken", ErrCarry, len(z.File), mostFiles)
	}
	var tables, all uint64
	for _, f := range z.File {
		size, packed := f.UncompressedSize64, f.CompressedSize64
		switch {
		case f.Name == "manifest.json" && size > mostManifest, f.Method == zip.Store && size > mostBlob, f.Method != zip.Store && size > mostTable, size > 1<<20 && size > mostTightness*packed:
			return fmt.Errorf("%w: %s in it would have %d MB out of %d kB", ErrCarry, f.Name, size>>20, packed>>10)
		case f.Method != zip.Store:
			tables += size
		}
		all += size
	}
	if tables > mostTable {
		return fmt.Errorf("%w: its tables would have %d MB", ErrCarry, tables>>20)
	}
	var disk unix.Statfs_t
	if err := unix.Statfs(folder, &disk); err == nil && all+spareBytes > uint64(disk.Bavail)*uint64(disk.Bsize) {
		return fmt.Errorf("it needs %d MB beside the store, and %d MB are free", (all+spareBytes)>>20, uint64(disk.Bavail)*uint64(disk.Bsize)>>20)
	}
	return nil
}

// readManifestJSON reads a manifest a file at a time, and no more of them than there are.
func readManifestJSON(r io.Reader, files int) (m CarryManifest, err error) {
	d := json.NewDecoder(io.LimitReader(r, mostManifest))
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return m, errors.Join(errTable, err)
	}
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return m, err
		}
		if name != "files" {
			var value json.RawMessage
			if err := d.Decode(&value); err != nil {
				return m, err
			}
			if err := json.Unmarshal([]byte(fmt.Sprintf(`{%q:%s}`, name, value)), &m); err != nil {
				return m, err
			}
			continue
		}
		if t, err := d.Token(); err != nil || t != json.Delim('[') {
			return m, errors.Join(errTable, err)
		}
		for d.More() {
			var f CarryFile
			if err := d.Decode(&f); err != nil {
				return m, err
			}
			if m.Files = append(m.Files, f); len(m.Files) > files {
				return m, fmt.Errorf("it names more than the %d files that are there", files)
			}
		}
		if _, err := d.Token(); err != nil {
			return m, err
		}
	}
	return m, nil
}

// readBlob reads the blob of a row.
func readBlob(z fs.FS, name string, most int64) ([]byte, error) {
	f, err := z.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if int64(len(data)) > most {
		return nil, fmt.Errorf("%s has more than %d MB", name, most>>20)
	}
	return data, err
}

// mostOf is how many rows of a table are taken.
func mostOf(table string) int {
	switch table {
	case "change", "reading", "act", "load_bar", "load_firing", "tick", "note", "cone":
		return mostRows
	}
	return mostNamed
}

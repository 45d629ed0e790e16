//go:build manual

package main

import (
	"os"
	"path/filepath"
	"strconv"
	"time"

	"github.com/spf13/cobra/doc"
)

// The program that makes the package's manual pages and completions is this one, built with
// `-tags manual`, so that what the pages say is what the commands are:
// LIDWRIGHT_MANUAL=FOLDER writes man/*.1 and one completion file a shell, and ends.
func init() {
	folder := os.Getenv("LIDWRIGHT_MANUAL")
	if folder == "" {
		return
	}
	if err := writeManual(folder); err != nil {
		os.Stderr.WriteString("lidwright: write the manual: " + err.Error() + "\n")
		os.Exit(exitFailed)
	}
	os.Exit(exitDone)
}

func writeManual(folder string) error {
	root := rootCommand()
	root.InitDefaultHelpCmd()
	root.DisableAutoGenTag = true
	at, err := strconv.ParseInt(os.Getenv("SOURCE_DATE_EPOCH"), 10, 64)
	if err != nil {
		return err
	}
	date := time.Unix(at, 0).UTC()
	man := filepath.Join(folder, "man")
	if err := os.MkdirAll(man, 0o755); err != nil {
		return err
	}
	head := &doc.GenManHeader{Title: "LIDWRIGHT", Section: "1", Date: &date, Source: "lidwright " + version, Manual: "lidwright"}
	if err := doc.GenManTree(root, head, man); err != nil {
		return err
	}
	for name, write := range map[string]func(string) error{
		"lidwright.bash": func(f string) error { return root.GenBashCompletionFileV2(f, true) },
		"_lidwright":     root.GenZshCompletionFile,
		"lidwright.fish": func(f string) error { return root.GenFishCompletionFile(f, true) },
	} {
		if err := write(filepath.Join(folder, name)); err != nil {
			return err
		}
	}
	return nil
}

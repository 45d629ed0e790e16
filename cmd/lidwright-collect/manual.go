//go:build manual

package main

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/cpuguy83/go-md2man/v2/md2man"
	"github.com/spf13/cobra/doc"

	"lidwright/config"
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
		os.Stderr.WriteString("lidwright-collect: write the manual: " + err.Error() + "\n")
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
	head := &doc.GenManHeader{Title: "LIDWRIGHT-COLLECT", Section: "1", Date: &date, Source: "lidwright-collect " + version, Manual: "lidwright-collect"}
	if err := doc.GenManTree(root, head, man); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(man, "collect.toml.5"), md2man.Render([]byte(settingsManual(date))), 0o644); err != nil {
		return err
	}
	for name, write := range map[string]func(string) error{
		"lidwright-collect.bash": func(f string) error { return root.GenBashCompletionFileV2(f, true) },
		"_lidwright-collect":     root.GenZshCompletionFile,
		"lidwright-collect.fish": func(f string) error { return root.GenFishCompletionFile(f, true) },
	} {
		if err := write(filepath.Join(folder, name)); err != nil {
			return err
		}
	}
	return nil
}

// settingsManual is the manual page of the settings, collect.toml(5): the file that holds every default.
func settingsManual(date time.Time) string {
	var b strings.Builder
	b.WriteString("% COLLECT.TOML 5 \"" + date.Format("Jan 2006") + "\" \"lidwright-collect " + version + "\" \"lidwright-collect\"\n")
	b.WriteString(`# NAME

collect.toml - settings of lidwright-collect

# DESCRIPTION

The collector reads the file that **--config** names, /etc/lidwright/collect.toml where it runs as a service. What follows
is every setting with its default, and an example where one is needed. **lidwright-collect check** says what is right in
it and what is not.

# SETTINGS

`)
	for line := range strings.Lines(config.CollectExample) {
		b.WriteString("    " + line)
	}
	b.WriteString("\n# SEE ALSO\n\nlidwright-collect(1), lidwright-collect-check(1), lidwright-collect-run(1)\n")
	return b.String()
}

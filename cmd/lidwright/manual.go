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
	if err := os.WriteFile(filepath.Join(man, "lidwright.toml.5"), md2man.Render([]byte(settingsManual(date))), 0o644); err != nil {
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

// settingsManual is the manual page of the settings, lidwright.toml(5): the file that holds every default.
func settingsManual(date time.Time) string {
	var b strings.Builder
	b.WriteString("% LIDWRIGHT.TOML 5 \"" + date.Format("Jan 2006") + "\" \"lidwright " + version + "\" \"lidwright\"\n")
	b.WriteString(`# NAME

lidwright.toml - settings of lidwright

# DESCRIPTION

The daemon and the commands read /etc/lidwright/lidwright.toml where it is there, or the file that
**--config** names. What follows is every setting with its default. **lidwright setup** writes a file, **lidwright
check** says what is right in it and what is not, with the line of each mistake.

# SETTINGS

`)
	for line := range strings.Lines(config.Example) {
		b.WriteString("    " + line)
	}
	b.WriteString("\n# SEE ALSO\n\nlidwright(1), lidwright-setup(1), lidwright-check(1), lidwright-run(1)\n")
	return b.String()
}

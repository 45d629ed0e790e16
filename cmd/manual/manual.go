// Package manual writes what a package installs beside a program: its manual pages and completions, made of
// its commands and of the file of its settings, so that they say what the program does. In flow the root
// command and the settings with every default, out flow man/*.1, man/*.5 and a completion a shell. A program
// is built with `-tags manual` for it and started with the folder in LIDWRIGHT_MANUAL; the shipped one has
// none of this. The day on the pages is SOURCE_DATE_EPOCH, so that the same commit makes the same package.
package manual

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/cpuguy83/go-md2man/v2/md2man"
	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// Program is what the pages are made of.
type Program struct {
	Root     *cobra.Command
	Version  string
	Settings string // name of the file of settings: lidwright.toml
	Example  string // that file, with every default
	Reads    string // who reads it and what helps with it: a paragraph of Markdown
	SeeAlso  string
}

// WriteAsked writes the pages into the folder that LIDWRIGHT_MANUAL names and ends the program: 0 done, 1 if
// a file cannot be written. Without that name it does nothing.
func WriteAsked(p Program) {
	folder := os.Getenv("LIDWRIGHT_MANUAL")
	if folder == "" {
		return
	}
	if err := p.write(folder); err != nil {
		fmt.Fprintf(os.Stderr, "%s: write the manual: %v\n", p.Root.Name(), err)
		os.Exit(1)
	}
	os.Exit(0)
}

// write writes man/*.1, man/*.5 and a file of completions a shell. Their day is SOURCE_DATE_EPOCH, so that
// the same commit makes the same bytes.
func (p Program) write(folder string) error {
	name := p.Root.Name()
	p.Root.InitDefaultHelpCmd()
	p.Root.DisableAutoGenTag = true
	at, err := strconv.ParseInt(os.Getenv("SOURCE_DATE_EPOCH"), 10, 64)
	if err != nil {
		return err
	}
	date := time.Unix(at, 0).UTC()
	man := filepath.Join(folder, "man")
	if err := os.MkdirAll(man, 0o755); err != nil {
		return err
	}
	head := &doc.GenManHeader{Title: strings.ToUpper(name), Section: "1", Date: &date,
		Source: name + " " + p.Version, Manual: name}
	if err := doc.GenManTree(p.Root, head, man); err != nil {
		return err
	}
	settings := md2man.Render([]byte(p.settingsPage(date)))
	if err := os.WriteFile(filepath.Join(man, p.Settings+".5"), settings, 0o644); err != nil {
		return err
	}
	for file, write := range map[string]func(string) error{
		name + ".bash": func(f string) error { return p.Root.GenBashCompletionFileV2(f, true) },
		"_" + name:     p.Root.GenZshCompletionFile,
		name + ".fish": func(f string) error { return p.Root.GenFishCompletionFile(f, true) },
	} {
		if err := write(filepath.Join(folder, file)); err != nil {
			return err
		}
	}
	return nil
}

// settingsPage is the manual page of the settings in section 5, as Markdown.
func (p Program) settingsPage(date time.Time) string {
	name := p.Root.Name()
	var b strings.Builder
	fmt.Fprintf(&b, "%% %s 5 %q %q %q\n", strings.ToUpper(p.Settings), date.Format("Jan 2006"),
		name+" "+p.Version, name)
	fmt.Fprintf(&b, "# NAME\n\n%s - settings of %s\n\n# DESCRIPTION\n\n%s\n\n# SETTINGS\n\n",
		p.Settings, name, p.Reads)
	for line := range strings.Lines(p.Example) {
		b.WriteString("    " + line)
	}
	b.WriteString("\n# SEE ALSO\n\n" + p.SeeAlso + "\n")
	return b.String()
}

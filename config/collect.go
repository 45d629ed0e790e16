package config

import (
	_ "embed" // the example
	"net"
	"net/url"
	"os"
	"strings"
	"time"
)

// CollectExample is a settings file of the collector with every default in it.
//
//go:embed collect.example.toml
var CollectExample string

// Collect are the settings of the collector's program.
type Collect struct {
	Name     string          `key:"name"`     // as its pages and the studios that join are told
	Zone     string          `key:"zone"`     // of the times on its pages; "" that of the machine
	Language string          `key:"language"` // language tag
	Listen   CollectListen   `key:"listen"`
	Database CollectDatabase `key:"database"`
	Owner    CollectOwner    `key:"owner"`
	Keep     CollectKeep     `key:"keep"`
	Log      Log             `key:"log"`

	File string `key:"-"`
}

// CollectListen is where it answers.
type CollectListen struct {
	Address string `key:"address"`
	TLSCert string `key:"tls_cert"`
	TLSKey  string `key:"tls_key"`
}

// CollectDatabase is its PostgreSQL.
type CollectDatabase struct {
	URL         string `key:"url"`
	URLFile     string `key:"url_file"` // holds the URL, where that has a password in it
	Connections int    `key:"connections" min:"2" max:"1000"`
}

// CollectOwner is who may see its pages.
type CollectOwner struct {
	CodeFile string `key:"code_file"`
}

// CollectKeep is what its owner promises to the studios.
type CollectKeep struct {
	BackupDays int `key:"backup_days"` // how long a forgotten studio is still in backups
}

// DefaultCollect are the settings of which a file says nothing.
func DefaultCollect() Collect {
	return Collect{Name: "Collector", Language: "en", Listen: CollectListen{Address: "127.0.0.1:8583"},
		Database: CollectDatabase{Connections: 16}, Keep: CollectKeep{BackupDays: -1},
		Log: Log{Level: "info", Format: "text"}}
}

// CollectPrefix begins the variables of the environment that stand over the file.
const CollectPrefix = "LIDWRIGHT_COLLECT_"

// LoadCollect reads collect.toml, and over it the variables LIDWRIGHT_COLLECT_ of env; path "" means no file.
// The error is as that of Load.
func LoadCollect(path string, env []string) (Collect, error) {
	doc := document{file: path, values: map[string]any{}, lines: map[string]int{}}
	if path != "" {
		var err error
		if doc, err = readDocument(path); err != nil {
			return Collect{}, err
		}
	}
	cfg := DefaultCollect()
	r := newReader(doc, cfg)
	if err := r.read(&cfg, CollectPrefix, env, nil); err != nil {
		return Collect{}, err
	}
	cfg.File = path
	r.collect(&cfg)
	if len(r.mistakes) > 0 {
		r.mistakes.sort()
		return Collect{}, r.mistakes
	}
	return cfg, nil
}

// collect looks at what concerns more than one setting of the collector.
func (r *reader) collect(c *Collect) {
	if c.Database.URLFile != "" {
		text, err := os.ReadFile(c.Database.URLFile)
		if err != nil {
			r.add("database.url_file", "cannot be read: %v", err)
		}
		if c.Database.URL != "" {
			r.add("database.url_file", "is set beside database.url; set one of them")
		}
		c.Database.URL = strings.TrimSpace(string(text))
	}
	if c.Database.URL == "" {
		r.add("database.url", "is needed: postgres://USER@HOST/DATABASE")
	} else if _, err := url.Parse(c.Database.URL); err != nil && !strings.Contains(c.Database.URL, "=") {
		r.add("database.url", "is no address of a database")
	}
	if _, err := time.LoadLocation(c.Zone); err != nil {
		r.add("zone", "%q is no time zone, such as Europe/Berlin", c.Zone)
	}
	if !aLanguage.MatchString(c.Language) {
		r.add("language", `is %q; must be a language tag as "en"`, c.Language)
	}
	if c.Keep.BackupDays < 0 {
		r.add("keep.backup_days", "must be set: how many days a studio that was forgotten is still in your backups of the database; 0 if you make none")
	}
	host, _, err := net.SplitHostPort(c.Listen.Address)
	ip := net.ParseIP(host)
	alone := host == "localhost" || ip != nil && ip.IsLoopback()
	switch {
	case err != nil:
		r.add("listen.address", "%q is no address with a port", c.Listen.Address)
	case !alone && (c.Listen.TLSCert == "" || c.Listen.TLSKey == ""):
		r.add("listen.tls_cert", "and listen.tls_key are needed: studios send their keys to no address but this machine's own in the clear. Or listen on 127.0.0.1 behind a program that speaks TLS")
	case !alone && c.Owner.CodeFile == "":
		r.add("owner.code_file", "is needed where others can reach the address; make it with: lidwright-collect code FILE")
	case (c.Listen.TLSCert == "") != (c.Listen.TLSKey == ""):
		r.add("listen.tls_key", "and listen.tls_cert go together")
	}
}

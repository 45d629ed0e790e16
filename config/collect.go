package config

import (
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/spf13/viper"
)

// Collect are the settings of the collector's program.
type Collect struct {
	Name     string          `key:"name"`     // as its pages and the studios that join are told
	Zone     string          `key:"zone"`     // of the times on its pages; "" that of the machine
	Language string          `key:"language"` // en, de
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
	Connections int    `key:"connections"`
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
		Database: CollectDatabase{Connections: 16}, Keep: CollectKeep{BackupDays: -1}, Log: Log{Level: "info", Format: "text"}}
}

// CollectPrefix begins the variables of the environment that stand over the file.
const CollectPrefix = "LIDWRIGHT_COLLECT_"

// LoadCollect reads collect.toml, and over it the variables LIDWRIGHT_COLLECT_ of env. All that is wrong is told at
// once.
func LoadCollect(path string, env []string) (Collect, error) {
	cfg := DefaultCollect()
	v := viper.New()
	byName := map[string]leaf{}
	var keys []string
	for _, l := range leaves("", reflect.ValueOf(cfg)) {
		v.SetDefault(l.key, l.value)
		byName[strings.ToUpper(strings.ReplaceAll(l.key, ".", "_"))] = l
		keys = append(keys, l.key)
	}
	var wrong []error
	if path != "" {
		v.SetConfigFile(path)
		v.SetConfigType("toml")
		if err := v.ReadInConfig(); err != nil {
			return cfg, fmt.Errorf("read the settings %s: %w", path, err)
		}
		for _, key := range v.AllKeys() {
			if !slices.Contains(keys, key) {
				wrong = append(wrong, fmt.Errorf("%s: %s is no setting; the nearest is %s", path, key, nearest(key, "", keys)))
			}
		}
	}
	for _, variable := range env {
		name, text, _ := strings.Cut(variable, "=")
		bare, ours := strings.CutPrefix(name, CollectPrefix)
		if !ours {
			continue
		}
		l, known := byName[bare]
		if !known {
			wrong = append(wrong, fmt.Errorf("environment: %s is no setting", name))
			continue
		}
		v.Set(l.key, text)
	}
	if err := v.Unmarshal(&cfg, viper.DecoderConfigOption(strictly)); err != nil {
		// A variable of the environment is a text whatever the setting is.
		if err := v.Unmarshal(&cfg, viper.DecoderConfigOption(loosely)); err != nil {
			wrong = append(wrong, fmt.Errorf("%s: %w", path, err))
		}
	}
	cfg.File = path
	return cfg, errors.Join(append(wrong, cfg.check()...)...)
}

// check tells all that is wrong.
func (c *Collect) check() (wrong []error) {
	bad := func(key, form string, args ...any) {
		wrong = append(wrong, fmt.Errorf("%s: %s", key, fmt.Sprintf(form, args...)))
	}
	if c.Database.URLFile != "" {
		text, err := os.ReadFile(c.Database.URLFile)
		if err != nil {
			bad("database.url_file", "cannot be read: %v", err)
		}
		if c.Database.URL != "" {
			bad("database.url_file", "is set beside database.url; set one of them")
		}
		c.Database.URL = strings.TrimSpace(string(text))
	}
	if c.Database.URL == "" {
		bad("database.url", "is needed: postgres://USER@HOST/DATABASE")
	} else if _, err := url.Parse(c.Database.URL); err != nil && !strings.Contains(c.Database.URL, "=") {
		bad("database.url", "is no address of a database")
	}
	if c.Database.Connections < 2 || c.Database.Connections > 1000 {
		bad("database.connections", "is %d; 2 to 1000", c.Database.Connections)
	}
	if _, err := time.LoadLocation(c.Zone); err != nil {
		bad("zone", "%q is no time zone, such as Europe/Berlin", c.Zone)
	}
	if c.Language != "en" && c.Language != "de" {
		bad("language", "is %q; en or de", c.Language)
	}
	if c.Keep.BackupDays < 0 {
		bad("keep.backup_days", "must be set: how many days a studio that was forgotten is still in your backups of the database; 0 if you make none")
	}
	host, _, err := net.SplitHostPort(c.Listen.Address)
	ip := net.ParseIP(host)
	alone := host == "localhost" || ip != nil && ip.IsLoopback()
	switch {
	case err != nil:
		bad("listen.address", "%q is no address with a port", c.Listen.Address)
	case !alone && (c.Listen.TLSCert == "" || c.Listen.TLSKey == ""):
		bad("listen.tls_cert", "and listen.tls_key are needed: studios send their keys to no address but this machine's own in the clear. Or listen on 127.0.0.1 behind a program that speaks TLS")
	case !alone && c.Owner.CodeFile == "":
		bad("owner.code_file", "is needed where others can reach the address; make it with: lidwright-collect code FILE")
	case (c.Listen.TLSCert == "") != (c.Listen.TLSKey == ""):
		bad("listen.tls_key", "and listen.tls_cert go together")
	}
	if !slices.Contains([]string{"error", "warn", "info", "debug"}, c.Log.Level) {
		bad("log.level", "is %q; error, warn, info or debug", c.Log.Level)
	}
	if c.Log.Format != "text" && c.Log.Format != "json" {
		bad("log.format", "is %q; text or json", c.Log.Format)
	}
	return wrong
}

package config

import (
	"net"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
)

// place finds the folder of the store and makes paths of secrets whole.
func (r *reader) place(cfg *Config, env []string) {
	value := func(name string) string {
		out := ""
		for _, variable := range env {
			if v, ok := strings.CutPrefix(variable, name+"="); ok {
				out = v
			}
		}
		return out
	}
	if cfg.Store.Folder == "" {
		state, _, _ := strings.Cut(value("STATE_DIRECTORY"), ":") // systemd may name several
		switch {
		case state != "":
			cfg.Store.Folder = state
		case value("XDG_STATE_HOME") != "":
			cfg.Store.Folder = filepath.Join(value("XDG_STATE_HOME"), "lidwright")
		case value("HOME") != "":
			cfg.Store.Folder = filepath.Join(value("HOME"), ".local", "state", "lidwright")
		}
	}
	r.path("store.folder", cfg.Store.Folder)
	r.path("copy.target", cfg.Copy.Target)

	credentials := value("CREDENTIALS_DIRECTORY")
	secret := func(key string, path *string) {
		if *path != "" && !filepath.IsAbs(*path) && credentials != "" && filepath.IsLocal(*path) {
			*path = filepath.Join(credentials, *path)
		}
		if *path != "" && !filepath.IsAbs(*path) {
			r.add(key, "is %s; must be a path from / on, or the name of a systemd credential while $CREDENTIALS_DIRECTORY is set", show(*path))
		}
	}
	secret("codes.bench_file", &cfg.Codes.BenchFile)
	secret("codes.owner_file", &cfg.Codes.OwnerFile)
	secret("listen.tls_cert", &cfg.Listen.TLSCert)
	secret("listen.tls_key", &cfg.Listen.TLSKey)
	secret("notice.mail.password_file", &cfg.Notice.Mail.PasswordFile)
	secret("notice.mail.ca_file", &cfg.Notice.Mail.CAFile)
	secret("mqtt.password_file", &cfg.MQTT.PasswordFile)
	secret("mqtt.ca_file", &cfg.MQTT.CAFile)
	for i := range cfg.Notice.Webhooks {
		secret("notice.webhook."+cfg.Notice.Webhooks[i].Name+".secret_file",
			&cfg.Notice.Webhooks[i].SecretFile)
	}
}

func (r *reader) path(key, path string) {
	if path != "" && !filepath.IsAbs(path) {
		r.add(key, "is %s; must be a path from / on", show(path))
	}
}

// validate looks at what a field alone cannot show.
func (r *reader) validate(cfg *Config) {
	r.site(cfg.Site)
	r.listen(cfg.Listen)
	r.firing(cfg.Firing)
	r.seats(cfg)
	r.notice(cfg)
	r.origins(cfg.Reading.Origins)
	r.mail(cfg.Notice.Mail)
	r.mqtt(cfg.MQTT)
	for i := range cfg.Kilns {
		r.kiln(&cfg.Kilns[i])
	}
	r.sharedPorts(cfg.Kilns)
	r.formerNames(cfg.Kilns)
	if main := cfg.Site.MainKiln; main != "" && !slices.ContainsFunc(cfg.Kilns,
		func(k Kiln) bool { return string(k.ID) == main }) {
		r.add("site.main_kiln", "is %s; must be the name of a table [kiln.name] of this file", show(main))
	}
}

var (
	aUUIDv7   = regexp.MustCompile(`^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`)
	aLanguage = regexp.MustCompile(`^[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*$`)
	aHost     = regexp.MustCompile(`^[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?$`)
)

// isHostName says that a name can be one of a host, at most 253 characters long (RFC 1035, 2.3.4).
func isHostName(name string) bool { return len(name) <= 253 && aHost.MatchString(name) }

func (r *reader) site(s Site) {
	if !printable(s.Name) || s.Name == "" || len([]rune(s.Name)) > 60 {
		r.add("site.name", "is %s; must be 1 to 60 printable characters", show(s.Name))
	}
	if s.ID != "" && !aUUIDv7.MatchString(s.ID) {
		r.add("site.id", `is %s; must be a UUID of version 7 in small letters, or "" to have one made`,
			show(s.ID))
	}
	if _, err := time.LoadLocation(s.Zone); err != nil || s.Zone == "Local" {
		r.add("site.zone", `is %s, which this machine does not know; must be a name as "Europe/Berlin", or "" for the system's`, show(s.Zone))
	}
	if !aLanguage.MatchString(s.Language) {
		r.add("site.language", `is %s; must be a language tag as "en"`, show(s.Language))
	}
	if s.Clock != 12 && s.Clock != 24 {
		r.add("site.clock", "is %d; must be 12 or 24", s.Clock)
	}
}

func (r *reader) listen(l Listen) {
	host, port, err := net.SplitHostPort(l.Address)
	n, notNumber := strconv.Atoi(port)
	if err != nil || notNumber != nil || n < 1 || n > 65535 ||
		host != "" && net.ParseIP(host) == nil && !isHostName(host) {
		r.add("listen.address", `is %s; must be an address and a port from 1 to 65535, as "127.0.0.1:8573" or ":8573" for all addresses`, show(l.Address))
	}
	r.url("listen.public_url", l.URL)
	for _, h := range l.Hosts {
		if !isHostName(h) {
			r.add("listen.hosts", `holds %s; must be host names without scheme and port, as "kiln.studio.example"`,
				show(h))
		}
	}
	if (l.TLSCert == "") != (l.TLSKey == "") {
		key := "listen.tls_key"
		if l.TLSCert == "" {
			key = "listen.tls_cert"
		}
		r.add(key, "is empty; listen.tls_cert and listen.tls_key go together, or both stay empty")
	}
	if l.ConnectionsPerAddress > l.Connections {
		r.add("listen.connections_per_address", "is %d; must not be over listen.connections, %d",
			l.ConnectionsPerAddress, l.Connections)
	}
}

func (r *reader) url(key, text string) {
	if text == "" {
		return
	}
	u, err := url.Parse(text)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" || !printable(text) {
		// not shown: it may hold a secret
		r.add(key, `is no web address; must be as "https://host.example/path"`)
	}
}

func (r *reader) firing(f Firing) {
	if f.EndBelowC >= f.StartAboveC {
		r.add("firing.end_below_c", "is %g; must be lower than firing.start_above_c, %g", f.EndBelowC,
			f.StartAboveC)
	}
}

func (r *reader) seats(cfg *Config) {
	for _, s := range []struct {
		key  string
		play Play
	}{
		{"inset", cfg.Seat.Inset}, {"flange", cfg.Seat.Flange}, {"cap", cfg.Seat.Cap},
		{"drop_in", cfg.Seat.DropIn}, {"over", cfg.Seat.Over}, {"stopper", cfg.Seat.Stopper},
	} {
		key, p := "seat."+s.key, s.play
		if m := p.PlayMM; len(m) != 3 || !(0 <= m[0] && m[0] <= m[1] && m[1] <= m[2] &&
			m[0] < m[2] && m[2] <= 20) {
			r.add(key+".play_mm", "must be three rising numbers from 0 to 20, least, aim and most, as [1.0, 1.75, 2.5]")
		}
		if p.LeastPlayRatio >= p.MostPlayRatio {
			r.add(key+".most_play_ratio", "is %g; must be over %s.least_play_ratio, %g", p.MostPlayRatio, key,
				p.LeastPlayRatio)
		}
	}
	signs := []rune(cfg.Bars.Alphabet)
	slices.Sort(signs)
	good := !slices.ContainsFunc(signs, func(s rune) bool {
		return !(s >= 'A' && s <= 'Z' || s >= '0' && s <= '9')
	})
	if !good || len(signs) < 8 || len(slices.Compact(signs)) != len([]rune(cfg.Bars.Alphabet)) {
		r.add("bars.alphabet", "is %s; must be at least 8 different signs of A-Z and 0-9",
			show(cfg.Bars.Alphabet))
	}
}

func (r *reader) notice(cfg *Config) {
	for _, w := range cfg.Notice.Webhooks {
		key := "notice.webhook." + w.Name
		r.need(key+".url", "the address that notices are sent to")
		r.url(key+".url", w.URL)
	}
	r.url("notice.deadman_url", cfg.Notice.DeadmanURL)
}

// need says that a key is missing, unless it or a table around it has been complained about.
func (r *reader) need(key, what string) {
	if _, ok := r.doc.lines[key]; ok {
		return
	}
	for at := key; at != ""; at = at[:max(0, strings.LastIndexByte(at, '.'))] {
		if r.wrong[at] {
			return
		}
	}
	r.add(key, "is needed: %s", what)
}

func printable(s string) bool {
	return !strings.ContainsFunc(s, func(c rune) bool { return !unicode.IsPrint(c) })
}

package daemon

import (
	"context"
	"crypto/x509"
	"fmt"
	"net/url"
	"os"
	"strings"
	"time"

	"lidwright/config"
	"lidwright/daemon/mqtt"
	"lidwright/daemon/notice"
	"lidwright/kiln"
	"lidwright/tiles"
)

// receiversOf are those that notices go to by the settings, but for whoever listens by MQTT.
func receiversOf(cfg config.Config, now func() time.Time) ([]notice.Receiver, error) {
	var out []notice.Receiver
	add := func(r notice.Receiver, quiet config.Span) {
		if quiet == (config.Span{}) {
			quiet = cfg.Notice.QuietHours
		}
		if quiet != (config.Span{}) {
			r.Quiet = quiet.Holds
		}
		out = append(out, r)
	}
	for _, w := range cfg.Notice.Webhooks {
		hook := notice.Webhook{URL: w.URL, Now: now}
		if w.SecretFile != "" {
			secret, err := secretOf("notice.webhook."+w.Name+".secret_file", w.SecretFile)
			if err != nil {
				return nil, err
			}
			hook.Secret = secret
		}
		add(notice.Receiver{Name: w.Name, Carrier: hook, On: w.On, Wakes: w.Wakes}, w.QuietHours)
	}
	letters, err := lettersOf(cfg)
	if err != nil {
		return nil, err
	}
	m := cfg.Notice.Mail
	for i, letter := range letters {
		add(notice.Receiver{Name: fmt.Sprintf("mail %d", i+1), Carrier: letter, On: m.On, Wakes: m.Wakes},
			m.QuietHours)
	}
	return out, nil
}

// lettersOf are the addresses of e-mail of the settings, each on its own: one that is refused holds up no
// other.
func lettersOf(cfg config.Config) ([]notice.Mail, error) {
	m := cfg.Notice.Mail
	if m.Relay == "" {
		return nil, nil
	}
	password, err := secretOf("notice.mail.password_file", m.PasswordFile)
	if err != nil {
		return nil, err
	}
	roots, err := rootsOf("notice.mail.ca_file", m.CAFile)
	if err != nil {
		return nil, err
	}
	var out []notice.Mail
	for _, to := range m.To {
		out = append(out, notice.Mail{Relay: m.Relay, Secure: m.Secure, User: m.User,
			Password: string(password),
			Roots:    roots, From: m.From, To: to, Pages: pagesOf(cfg)})
	}
	return out, nil
}

// TryRelay lets itself in at the relay for e-mail of the settings, and sends nothing: nil, or why that did
// not work.
func TryRelay(ctx context.Context, cfg config.Config) error {
	letters, err := lettersOf(cfg)
	if err != nil || len(letters) == 0 {
		return err
	}
	return letters[0].Try(ctx)
}

// TryBroker connects to the broker of the settings as the daemon would: nil, or why that did not work.
func TryBroker(ctx context.Context, cfg config.Config) error {
	s, err := brokerOf(cfg, "", "")
	if err != nil {
		return err
	}
	return s.Try(ctx)
}

// brokerOf is where the settings have the kilns told by MQTT.
func brokerOf(cfg config.Config, site, version string) (mqtt.Settings, error) {
	m := cfg.MQTT
	broker, err := url.Parse(m.URL)
	if err != nil {
		return mqtt.Settings{}, fmt.Errorf("%w: mqtt.url: it is no address", ErrCannotStart)
	}
	if broker.Port() == "" {
		broker.Host += map[string]string{"mqtt": ":1883", "mqtts": ":8883"}[broker.Scheme]
	}
	s := mqtt.Settings{Broker: broker, User: m.User, Topic: m.Topic, Site: site, SiteName: cfg.Site.Name,
		Version: version, Pages: pagesOf(cfg)}
	if m.Discovery {
		s.Discovery = m.DiscoveryTopic
	}
	if s.Password, err = secretOf("mqtt.password_file", m.PasswordFile); err != nil {
		return s, err
	}
	s.Roots, err = rootsOf("mqtt.ca_file", m.CAFile)
	return s, err
}

// publish has the kilns told by MQTT, and notices with them, where the settings name a broker.
func (d *Daemon) publish(ctx context.Context) error {
	if d.cfg.MQTT.URL == "" {
		return nil
	}
	site, _, err := d.store.Site(ctx)
	if err != nil {
		return err
	}
	s, err := brokerOf(d.cfg, site, d.server.Site.Version)
	if err != nil {
		return err
	}
	d.mqtt = &mqtt.Publisher{Settings: s, Kilns: d.kilnsTold(),
		Tick: func(ctx context.Context) <-chan time.Time { return d.Tick(ctx) }}
	d.server.MQTT = d.mqtt.Connected
	// Whoever listens there is a machine, which has no night.
	d.notifier.post.Receivers = append(d.notifier.post.Receivers, notice.Receiver{Name: "MQTT",
		Carrier: d.mqtt, On: d.cfg.MQTT.Notices})
	return nil
}

// kilnsTold gives what the kilns do, with the bars of each that nobody has measured: those are counted anew
// when something was written.
func (d *Daemon) kilnsTold() func(context.Context) ([]mqtt.Kiln, error) {
	var counted uint64
	var waiting map[kiln.KilnID]int
	return func(ctx context.Context) ([]mqtt.Kiln, error) {
		if written := d.store.Written(); waiting == nil || written != counted {
			loads, err := d.store.Loads(ctx, tiles.LoadFilter{Waiting: true})
			if err != nil {
				return nil, err
			}
			counted, waiting = written, map[kiln.KilnID]int{}
			for _, l := range loads {
				waiting[l.Kiln] += l.Waiting
			}
		}
		var out []mqtt.Kiln
		for _, k := range d.server.Kilns().KilnsNow(ctx) {
			out = append(out, mqtt.Kiln{KilnNow: k, ToMeasure: waiting[kiln.KilnID(k.Kiln)]})
		}
		return out, nil
	}
}

// pagesOf is the address of our pages that links begin with.
func pagesOf(cfg config.Config) string {
	name, err := os.Hostname()
	if err != nil {
		name = "localhost"
	}
	return strings.TrimSuffix(cfg.Listen.PublicURL(name), "/")
}

// secretOf is what a file of the settings holds, without the end of its line; nothing where none is named.
func secretOf(key, file string) ([]byte, error) {
	if file == "" {
		return nil, nil
	}
	secret, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("%w: %s: %v", ErrCannotStart, key, err)
	}
	secret = []byte(strings.TrimSpace(string(secret)))
	if len(secret) == 0 {
		return nil, fmt.Errorf("%w: %s %s is empty", ErrCannotStart, key, file)
	}
	return secret, nil
}

// rootsOf are the authorities of a file of the settings; nil, which is the system's, where none is named.
func rootsOf(key, file string) (*x509.CertPool, error) {
	if file == "" {
		return nil, nil
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("%w: %s: %v", ErrCannotStart, key, err)
	}
	roots := x509.NewCertPool()
	if !roots.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("%w: %s %s holds no certificate in PEM", ErrCannotStart, key, file)
	}
	return roots, nil
}

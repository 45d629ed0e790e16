package config

import (
	"net"
	"net/mail"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
)

// mail looks at the receiver by e-mail: one that is named needs a relay, a sender and somebody to send to.
func (r *reader) mail(m Mail) {
	if m.Relay == "" && m.From == "" && len(m.To) == 0 {
		return
	}
	host, port, err := net.SplitHostPort(m.Relay)
	if n, notNumber := strconv.Atoi(port); err != nil || notNumber != nil || n < 1 ||
		n > 65535 || !isHost(host) {
		r.add("notice.mail.relay", `is %s; must be a host and a port, as "mail.example:587"`, show(m.Relay))
	}
	if !isMailAddress(m.From) {
		r.add("notice.mail.from", `is %s; must be one bare address, as "kiln@studio.example"`, show(m.From))
	}
	if len(m.To) == 0 {
		r.add("notice.mail.to", `is empty; must hold at least one address, as ["potter@studio.example"]`)
	}
	for _, to := range m.To {
		if !isMailAddress(to) {
			r.add("notice.mail.to", `holds %s; must be bare addresses, as "potter@studio.example"`, show(to))
		}
	}
	r.login("notice.mail", m.User, m.PasswordFile)
	switch {
	case m.Secure != "none":
	case m.User != "" && !isLoopback(host):
		r.add("notice.mail.secure", `is "none"; a password would cross the network for all to read: set "starttls" or "tls"`)
	case !isLoopback(host):
		r.advise("notice.mail.secure", `is "none": notices cross the network for all to read; "starttls" or "tls" hides them`)
	}
}

// mqtt looks at the broker and the topics.
func (r *reader) mqtt(m MQTT) {
	for key, topic := range map[string]string{"mqtt.topic": m.Topic,
		"mqtt.discovery_topic": m.DiscoveryTopic} {
		// MQTT 5.0 section 4.7: + and # stand for others, $ begins what is the broker's own.
		if topic == "" || len(topic) > 200 || !printable(topic) || strings.ContainsAny(topic,
			"+#") || strings.HasPrefix(topic, "$") ||
			strings.HasPrefix(topic, "/") || strings.HasSuffix(topic, "/") {
			r.add(key, "is %s; must be 1 to 200 signs without + and #, no $ or / in front and no / at the end",
				show(topic))
		}
	}
	if m.URL == "" {
		return
	}
	u, err := url.Parse(m.URL)
	if err != nil || u.Scheme != "mqtt" && u.Scheme != "mqtts" || u.Path != "" && u.Path != "/" ||
		u.RawQuery != "" || !printable(m.URL) ||
		!isHost(u.Hostname()) || u.User != nil || u.Fragment != "" {
		r.add("mqtt.url", `is no address of a broker; must be as "mqtts://broker.example:8883" or "mqtt://127.0.0.1:1883"; a user goes to mqtt.user and a password to mqtt.password_file`)
		return
	}
	r.login("mqtt", m.User, m.PasswordFile)
	if u.Scheme == "mqtt" && m.PasswordFile != "" && !isLoopback(u.Hostname()) {
		r.advise("mqtt.url", "begins with mqtt://: the password crosses the network for all to read; mqtts:// hides it")
	}
}

// origins looks at the sites whose pages may read the API: scheme, host and port, as a browser sends them.
func (r *reader) origins(all []string) {
	for _, origin := range all {
		u, err := url.Parse(origin)
		if origin != "*" && (err != nil || u.Scheme != "http" && u.Scheme != "https" ||
			!isHost(u.Hostname()) || u.Scheme+"://"+u.Host != origin) {
			r.add("reading.origins", `holds %s; must be origins without a path, as "https://display.example" or "http://10.0.0.7:8080", or "*" for any`, show(origin))
		}
	}
}

// login looks at a user and a password file, which go together.
func (r *reader) login(table, user, passwordFile string) {
	switch {
	case user == "" && passwordFile != "":
		r.add(table+".user", "is empty; %s.user and %s.password_file go together, or both stay empty", table,
			table)
	case user != "" && passwordFile == "":
		r.add(table+".password_file", "is empty; %s.user and %s.password_file go together, or both stay empty",
			table, table)
	case !printable(user) || len(user) > 200:
		r.add(table+".user", "is %s; must be at most 200 printable signs", show(user))
	}
}

// isMailAddress reports whether text is one bare address of RFC 5322.
func isMailAddress(text string) bool {
	a, err := mail.ParseAddress(text)
	return err == nil && a.Name == "" && a.Address == text && printable(text)
}

func isHost(host string) bool {
	_, err := netip.ParseAddr(host)
	return err == nil || isHostName(host)
}

func isLoopback(host string) bool {
	a, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && a.IsLoopback()
}

package config

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
)

// aKiln is a kiln of one probe on a line, with more settings of the kiln, of its channel, and tables behind
// them.
func aKiln(kiln, channel, more string) string {
	return "[kiln.x]\nport = \"/dev/serial/by-id/one\"\nreply = \"columns\"\nlimit_c = 1290\n" + kiln +
		"\n[kiln.x.channel.1]\nfrom = \"1\"\nunit = \"c\"\n" + channel +
		"\n[kiln.x.probe.1]\ntype = \"K\"\n" + more
}

// told are the keys at which settings are wrong, and those that advice is about.
func told(text string) (wrong, advised []string) {
	cfg, err := LoadText("lidwright.toml", text, nil)
	var mistakes Mistakes
	if errors.As(err, &mistakes) {
		for _, m := range mistakes {
			wrong = append(wrong, m.Key)
		}
	}
	for _, m := range cfg.Advice {
		advised = append(advised, m.Key)
	}
	slices.Sort(wrong)
	return slices.Compact(wrong), advised
}

// Each setting is taken up to its limit, and told by its key beyond it.
func TestSettingsAtTheirLimits(t *testing.T) {
	long := func(n int) string { return strings.Repeat("x", n) }
	poll := func(n int) string { return "poll_bytes = [" + strings.Repeat("\"T?\", ", n) + "]" }
	shut := "keep_shut_above_c = 95\nkeep_shut_reason = \"%s\""
	listen := "[listen]\n"
	mail := func(relay, from, to, more string) string {
		return fmt.Sprintf("[notice.mail]\nrelay = %q\nfrom = %q\nto = %s\n%s", relay, from, to, more)
	}
	toPotter := `["potter@studio.example"]`
	for name, c := range map[string]struct{ text, wrong, advised string }{
		"a name of 60":         {"[site]\nname = \"" + long(60) + "\"", "", ""},
		"of 61":                {"[site]\nname = \"" + long(61) + "\"", "site.name", ""},
		"a name of two lines":  {"[site]\nname = \"a\\nb\"", "site.name", ""},
		"a zone":               {"[site]\nzone = \"Europe/Berlin\"", "", ""},
		"the machine's zone":   {"[site]\nzone = \"Local\"", "site.zone", ""},
		"no such zone":         {"[site]\nzone = \"Europe/Nowhere\"", "site.zone", ""},
		"a clock of 12":        {"[site]\nclock = 12", "", ""},
		"of 24":                {"[site]\nclock = 24", "", ""},
		"of 13":                {"[site]\nclock = 13", "site.clock", ""},
		"its main kiln":        {"[site]\nmain_kiln = \"x\"\n" + aKiln("", "", ""), "", ""},
		"a main kiln unknown":  {"[site]\nmain_kiln = \"y\"\n" + aKiln("", "", ""), "site.main_kiln", ""},
		"the lowest port":      {listen + `address = ":1"`, "", ""},
		"lower":                {listen + `address = ":0"`, "listen.address", ""},
		"the highest port":     {listen + `address = ":65535"`, "", ""},
		"higher":               {listen + `address = ":65536"`, "listen.address", ""},
		"a port in words":      {listen + `address = "127.0.0.1:http"`, "listen.address", ""},
		"no port":              {listen + `address = "127.0.0.1"`, "listen.address", ""},
		"a host of 253 signs":  {listen + `hosts = ["` + long(253) + `"]`, "", ""},
		"of 254":               {listen + `hosts = ["` + long(254) + `"]`, "listen.hosts", ""},
		"a certificate alone":  {listen + `tls_cert = "/etc/cert"`, "listen.tls_key", ""},
		"a key alone":          {listen + `tls_key = "/etc/key"`, "listen.tls_cert", ""},
		"both":                 {listen + "tls_cert = \"/etc/cert\"\ntls_key = \"/etc/key\"", "", ""},
		"all from one address": {listen + "connections = 20\nconnections_per_address = 20", "", ""},
		"more than all": {listen + "connections = 20\nconnections_per_address = 21",
			"listen.connections_per_address", ""},
		"a reason of 500":   {aKiln(fmt.Sprintf(shut, long(500)), "", ""), "", ""},
		"of 501":            {aKiln(fmt.Sprintf(shut, long(501)), "", ""), "kiln.x.keep_shut_reason", ""},
		"of blanks":         {aKiln(fmt.Sprintf(shut, "  "), "", ""), "kiln.x.keep_shut_reason", ""},
		"opened at 50":      {aKiln("keep_shut_above_c = 50", "", ""), "", ""},
		"opened at 51":      {aKiln("keep_shut_above_c = 51", "", ""), "kiln.x.keep_shut_reason", ""},
		"16 questions":      {aKiln(poll(16), "", ""), "", ""},
		"17 questions":      {aKiln(poll(17), "", ""), "kiln.x.poll_bytes", ""},
		"a question of 32":  {aKiln(`poll_bytes = ["`+long(31)+`?"]`, "", ""), "", ""},
		"of 33":             {aKiln(`poll_bytes = ["`+long(32)+`?"]`, "", ""), "kiln.x.poll_bytes", ""},
		"of none":           {aKiln(`poll_bytes = [""]`, "", ""), "kiln.x.poll_bytes", ""},
		"no question":       {aKiln(`poll_bytes = ["T"]`, "", ""), "kiln.x.poll_bytes", ""},
		"not ASCII":         {aKiln(`poll_bytes = ["é?"]`, "", ""), "kiln.x.poll_bytes", ""},
		"the last of ASCII": {aKiln(`poll_bytes = [" ~?"]`, "", ""), "", ""},
		"otherwise":         {aKiln("poll_bytes = [\"T\"]\npoll_other = true\npoll_reason = \"it answers to T\"", "", ""), "", ""},
		"without a reason": {aKiln("poll_bytes = [\"T\"]\npoll_other = true", "", ""),
			"kiln.x.poll_reason", ""},
		"a played line": {strings.Replace(aKiln("", "", ""), "columns", "replay", 1), "", ""},
		"one that is asked": {strings.Replace(aKiln(poll(1), "", ""), "columns", "replay", 1),
			"kiln.x.poll_bytes", ""},
		"an odd speed":     {aKiln("speed = 14400", "", ""), "kiln.x.speed", ""},
		"an end of 4":      {aKiln(`terminator = "abcd"`, "", ""), "", ""},
		"of 5":             {aKiln(`terminator = "abcde"`, "", ""), "kiln.x.terminator", ""},
		"a choice of 64":   {aKiln(`select = "`+long(64)+`"`, "", ""), "", ""},
		"of 65":            {aKiln(`select = "`+long(65)+`"`, "", ""), "kiln.x.select", ""},
		"a separator of 4": {aKiln(`separator = "abcd"`, "", ""), "", ""},
		"a separator of 5": {aKiln(`separator = "abcde"`, "", ""), "kiln.x.separator", ""},
		"a digit between":  {aKiln(`separator = "0"`, "", ""), "kiln.x.separator", ""},
		"commas alike": {aKiln("separator = \",\"\ndecimal_comma = true", "", ""),
			"kiln.x.decimal_comma", ""},
		"commas and semicola":  {aKiln("separator = \";\"\ndecimal_comma = true", "", ""), "", ""},
		"a scale of a million": {aKiln("", "scale = 1e6", ""), "", ""},
		"a larger one":         {aKiln("", "scale = 1.1e6", ""), "kiln.x.channel.1.offset", ""},
		"no scale":             {aKiln("", "scale = 0", ""), "kiln.x.channel.1.scale", ""},
		"an offset beyond":     {aKiln("", "offset = -1.1e6", ""), "kiln.x.channel.1.offset", ""},
		"a pattern of none":    {aKiln(`pattern = "x"`, "", ""), "kiln.x.pattern", ""},
		"a probe of nothing":   {aKiln("", "", "[kiln.x.probe.2]\ntype = \"S\""), "kiln.x.probe.2", ""},
		"a shelf of nothing":   {aKiln("", "", "[kiln.x.shelf]\ntop = \"2\""), "kiln.x.shelf.top", ""},
		"control by nothing":   {aKiln(`control = "2"`, "", ""), "kiln.x.control", ""},
		"its own cold one":     {aKiln("", `cold_junction = "1"`, ""), "kiln.x.channel.1.cold_junction", ""},
		"a cold one unknown":   {aKiln("", `cold_junction = "2"`, ""), "kiln.x.channel.1.cold_junction", ""},
		"a bare device": {strings.Replace(aKiln("", "", ""), "/dev/serial/by-id/one", "/dev/ttyACM10",
			1), "", "kiln.x.port"},
		"a device by its way": {strings.Replace(aKiln("", "", ""), "/dev/serial/by-id/one",
			"/dev/serial/by-path/2", 1), "", ""},
		"a device from here": {strings.Replace(aKiln("", "", ""), "/dev/serial/by-id/one", "ttyUSB0", 1),
			"kiln.x.port", ""},
		"mail":             {mail("mail.example:587", "kiln@studio.example", toPotter, ""), "", ""},
		"mail by its port": {mail("mail.example:65535", "kiln@studio.example", toPotter, ""), "", ""},
		"by no port": {mail("mail.example:65536", "kiln@studio.example", toPotter, ""),
			"notice.mail.relay", ""},
		"by port 0": {mail("mail.example:0", "kiln@studio.example", toPotter, ""),
			"notice.mail.relay", ""},
		"by port 1": {mail("mail.example:1", "kiln@studio.example", toPotter, ""), "", ""},
		"to nobody": {mail("mail.example:587", "kiln@studio.example", "[]", ""), "notice.mail.to",
			""},
		"from somebody's name": {mail("mail.example:587", "Kiln <kiln@studio.example>", toPotter, ""),
			"notice.mail.from", ""},
		"a relay alone": {"[notice.mail]\nrelay = \"mail.example:587\"",
			"notice.mail.from notice.mail.to", ""},
		"in the open": {mail("mail.example:25", "kiln@studio.example", toPotter, `secure = "none"`),
			"", "notice.mail.secure"},
		"in the open at home": {mail("127.0.0.1:25", "kiln@studio.example", toPotter, `secure = "none"`), "",
			""},
		"a password at home": {mail("localhost:25", "kiln@studio.example", toPotter,
			"secure = \"none\"\nuser = \"kiln\"\npassword_file = \"/etc/p\""), "", ""},
		"a password for all": {mail("mail.example:25", "kiln@studio.example", toPotter,
			"secure = \"none\"\nuser = \"kiln\"\npassword_file = \"/etc/p\""), "notice.mail.secure", ""},
		"a broker":        {"[mqtt]\nurl = \"mqtt://broker.example:1883\"", "", ""},
		"with a password": {"[mqtt]\nurl = \"mqtt://broker.example\"\nuser = \"kiln\"\npassword_file = \"/etc/p\"", "", "mqtt.url"},
		"at home":         {"[mqtt]\nurl = \"mqtt://[::1]:1883\"\nuser = \"kiln\"\npassword_file = \"/etc/p\"", "", ""},
		"by TLS":          {"[mqtt]\nurl = \"mqtts://broker.example\"\nuser = \"kiln\"\npassword_file = \"/etc/p\"", "", ""},
		"with a user alone": {"[mqtt]\nurl = \"mqtts://broker.example\"\nuser = \"kiln\"",
			"mqtt.password_file", ""},
		"with a word alone": {"[mqtt]\nurl = \"mqtts://broker.example\"\npassword_file = \"/etc/p\"",
			"mqtt.user", ""},
		"a user of 200": {"[mqtt]\nurl = \"mqtts://broker.example\"\nuser = \"" + long(200) +
			"\"\npassword_file = \"/etc/p\"", "", ""},
		"of 201 signs": {"[mqtt]\nurl = \"mqtts://broker.example\"\nuser = \"" + long(201) +
			"\"\npassword_file = \"/etc/p\"", "mqtt.user", ""},
		"not a broker's":   {"[mqtt]\nurl = \"http://broker.example\"", "mqtt.url", ""},
		"a broker's page":  {"[mqtt]\nurl = \"mqtt://broker.example/kilns\"", "mqtt.url", ""},
		"a topic of 200":   {"[mqtt]\ntopic = \"" + long(200) + "\"", "", ""},
		"a topic of 201":   {"[mqtt]\ntopic = \"" + long(201) + "\"", "mqtt.topic", ""},
		"a topic for all":  {"[mqtt]\ntopic = \"kilns/#\"", "mqtt.topic", ""},
		"the broker's own": {"[mqtt]\ndiscovery_topic = \"$SYS\"", "mqtt.discovery_topic", ""},
		"an origin":        {"[reading]\norigins = [\"https://display.example\", \"*\"]", "", ""},
		"a page of it": {"[reading]\norigins = [\"https://display.example/x\"]", "reading.origins",
			""},
	} {
		wrong, advised := told(c.text)
		if strings.Join(wrong, " ") != c.wrong || strings.Join(advised, " ") != c.advised {
			t.Errorf("%s: wrong %q, advice on %q; want %q, %q", name, wrong, advised, c.wrong, c.advised)
		}
	}
}

// A pattern is up to 1000 bytes long and names what it finds.
func TestPatterns(t *testing.T) {
	for pattern, good := range map[string]bool{
		"(?P<top>[0-9.]+)": true, "([0-9.]+)": false, "(?P<top>": false, "": false,
		"(?P<top>[0-9.]+)" + strings.Repeat("x", 984): true, "(?P<top>[0-9.]+)" + strings.Repeat("x",
			985): false,
	} {
		if groups, says := namedGroups(pattern); (says == "") != good || good && !slices.Equal(groups,
			[]string{"top"}) {
			t.Errorf("%.30q: %q, %s", pattern, groups, says)
		}
	}
}

// What is wrong with what a program was given without a file is told as of the defaults, by no line.
func TestPlaceOfAMistakeWithoutAFile(t *testing.T) {
	env := []string{"LIDWRIGHT_LISTEN_TLS_CERT=/etc/cert"}
	setenv(t, env)
	_, err := LoadText("", "", env)
	if err == nil || !strings.HasPrefix(err.Error(), "defaults: listen.tls_key: ") {
		t.Errorf("of what was not said: %v", err)
	}
	env = append(env, "LIDWRIGHT_LISTEN_TLS_KEY=key")
	setenv(t, env)
	_, err = LoadText("", "", env)
	if err == nil || !strings.HasPrefix(err.Error(), "environment: LIDWRIGHT_LISTEN_TLS_KEY: ") {
		t.Errorf("by a variable: %v", err)
	}
}

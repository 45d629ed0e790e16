package daemon

import (
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"lidwright/config"
)

// TestReceiversOfTheSettings: each address has its own name and its own quiet hours; a secret that is not
// there keeps the daemon from starting, and says which.
func TestReceiversOfTheSettings(t *testing.T) {
	folder := t.TempDir()
	word := filepath.Join(folder, "word")
	if err := os.WriteFile(word, []byte(" a word\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	cfg, err := config.LoadText("lidwright.toml", fmt.Sprintf(`
[notice]
quiet_hours = "22:00-07:00"
[notice.webhook.phone]
url = "http://127.0.0.1:1/x"
quiet_hours = "13:00-14:00"
[notice.mail]
relay = "127.0.0.1:1"
from = "kiln@studio.example"
to = ["one@studio.example", "two@studio.example"]
user = "kiln"
password_file = %q
wakes = []
`, word), nil)
	if err != nil {
		t.Fatal(err)
	}
	got, err := receiversOf(cfg, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	night, noon := time.Date(2026, 2, 1, 23, 0, 0, 0, time.UTC), time.Date(2026, 2, 1, 13, 30, 0, 0, time.UTC)
	var says []string
	for _, r := range got {
		says = append(says, fmt.Sprint(r.Name, " ", r.Quiet(night), " ", r.Quiet(noon), " ", len(r.Wakes)))
	}
	if got := strings.Join(says, "; "); got != "phone false true 9; mail 1 true false 0; mail 2 true false 0" {
		t.Error(got)
	}
	for _, c := range []struct {
		spoil func(*config.Config)
		want  string
	}{
		{func(c *config.Config) { c.Notice.Mail.PasswordFile = filepath.Join(folder, "none") },
			"notice.mail.password_file"},
		{func(c *config.Config) { c.Notice.Mail.CAFile = word }, "notice.mail.ca_file " + word +
			" holds no certificate in PEM"},
		{func(c *config.Config) { c.Notice.Webhooks[0].SecretFile = os.DevNull },
			"notice.webhook.phone.secret_file /dev/null is empty"},
	} {
		bad := cfg
		bad.Notice.Webhooks = append([]config.Webhook{}, cfg.Notice.Webhooks...)
		c.spoil(&bad)
		if _, err := receiversOf(bad, time.Now); !errors.Is(err, ErrCannotStart) ||
			!strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
	if err := TryRelay(t.Context(), cfg); err == nil || err.Error() != "no answer" {
		t.Errorf("a relay that is not there: %v", err)
	}
}

// TestDaemonTellsByMQTT: the whole daemon beside a broker of Debian; the settings' page does not name who is
// written to.
func TestDaemonTellsByMQTT(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	host, port, _ := net.SplitHostPort(l.Addr().String())
	l.Close()
	conf := filepath.Join(t.TempDir(), "conf")
	if err := os.WriteFile(conf, []byte("listener "+port+
		" 127.0.0.1\nallow_anonymous true\npersistence false\nuser root\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	broker := exec.Command("mosquitto", "-c", conf)
	if err := broker.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { broker.Process.Kill(); broker.Wait() }()
	b := newHeatBenchWith(t, heatSettings+`
[mqtt]
url = "mqtt://`+net.JoinHostPort(host, port)+`"
discovery = true
[notice.mail]
relay = "127.0.0.1:1"
from = "kiln@studio.example"
to = ["potter.of.ours@studio.example"]
`)
	b.d.mqtt.Pause = func(int) time.Duration { return 10 * time.Millisecond }
	b.run()
	wait := func(what string, found func() bool) {
		t.Helper()
		for end := time.Now().Add(5 * time.Minute); !found(); time.Sleep(20 * time.Millisecond) {
			if time.Now().After(end) {
				t.Fatalf("waited in vain until %s", what)
			}
		}
	}
	wait("the metrics say that it is connected", func() bool {
		return strings.Contains(b.page("/metrics"), "\nlidwright_mqtt_connected 1\n")
	})
	got, err := exec.Command("mosquitto_sub", "-h", host, "-p", port, "-V", "5", "-t",
		"lidwright/little-red/state", "-C", "1").CombinedOutput()
	if err != nil || string(got) != "no_reading\n" {
		t.Errorf("%q, %v", got, err)
	}
	got, err = exec.Command("mosquitto_sub", "-h", host, "-p", port, "-V", "5", "-t",
		"homeassistant/sensor/+/temperature_c/config", "-C", "2").CombinedOutput()
	site, _, _ := b.d.store.Site(t.Context())
	if id := "lidwright_" + strings.ReplaceAll(site, "-", "") + "_big-blue_temperature_c"; err != nil ||
		site == "" || !strings.Contains(string(got), id) {
		t.Errorf("%q has no %s, %v", got, id, err)
	}
	page := b.page("/settings")
	if strings.Contains(page, "potter.of.ours") || !strings.Contains(page, "...@studio.example") ||
		!strings.Contains(page, "mail 1") || !strings.Contains(page, "MQTT") {
		t.Error("the settings' page names a person, or not who notices go to")
	}
}

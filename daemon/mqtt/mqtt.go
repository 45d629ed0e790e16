// Package mqtt tells by MQTT 5.0 what the kilns do, for displays and home automation: a topic a value, all of
// them retained.
//
// In flow the state of each kiln once a second and the notices that the settings name; out flow values that
// changed, all of them each minute, messages by which home automation finds them, and a last will that says
// that nobody tells any more. A broker that goes away is called again with a growing pause, and is told all
// anew.
//
// It subscribes to nothing, so that nobody can write to us there.
package mqtt

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"

	"lidwright/api/wire"
	"lidwright/daemon/notice"
	"lidwright/kiln/message"
)

// Settings say where the kilns are told, and as whom.
type Settings struct {
	Broker    *url.URL // mqtt://host:port or mqtts://host:port
	User      string   // "" = the broker asks for none
	Password  []byte
	Roots     *x509.CertPool // who vouches for the broker; nil: the system's authorities
	Topic     string         // that all of ours begin with
	Discovery string         // topic under which home automation looks; "" = none
	Site      string         // UUID of the record
	SiteName  string
	Version   string
	Pages     string // address of our pages
}

// Kiln is what is told of one.
type Kiln struct {
	wire.KilnNow
	ToMeasure int // fired bars that nobody has measured
}

// Publisher tells what the kilns do. Broker and network may come and go: on each return all is told anew.
type Publisher struct {
	Settings
	Kilns func(context.Context) ([]Kiln, error)
	Tick  func(context.Context) <-chan time.Time // once a second
	Pause func(tries int) time.Duration          // before each try to connect; nil: 0, 1, 2, 4 ... 60 s

	connected atomic.Bool
	again     atomic.Bool // a connection has come up: all is told anew
	mu        sync.Mutex
	link      *autopaho.ConnectionManager // nil before Run
	why       string                      // it is not connected; what the log said last
}

const (
	online, offline = "online", "offline"
	keepAlive       = 30               // s; the broker sends our last will after one and a half of it
	patience        = 10 * time.Second // with one message
	repeat          = 60               // ticks after which all is told again, for displays that forget
	expiry          = 600              // s; after that the broker forgets a value that was not repeated
)

var errAway = errors.New("the broker is away")

// Run tells until ctx ends, and then that nothing is told any more.
func (p *Publisher) Run(ctx context.Context) error {
	linked, unlink := context.WithCancel(context.WithoutCancel(ctx)) // the last word goes out after ctx ends
	defer unlink()
	link, err := autopaho.NewConnection(linked, p.config())
	if err != nil {
		return fmt.Errorf("mqtt: %w", err)
	}
	p.mu.Lock()
	p.link = link
	p.mu.Unlock()
	told, ticks := map[string]string{}, 0
	tick := p.Tick(ctx)
	for {
		select {
		case <-ctx.Done():
			if p.connected.Load() {
				within, cancel := context.WithTimeout(linked, time.Second)
				p.publish(within, p.Topic+"/status", offline, true)
				cancel()
			}
			within, cancel := context.WithTimeout(linked, time.Second)
			defer cancel()
			link.Disconnect(within)
			return nil
		case <-tick:
		}
		if !p.connected.Load() {
			continue
		}
		switch {
		case p.again.Swap(false):
			clear(told)
			ticks = 0
		case ticks >= repeat:
			maps.DeleteFunc(told, func(_, value string) bool { return value != "" })
			ticks = 0
		}
		ticks++
		p.tell(ctx, told)
	}
}

// tell sends what differs from what was told, in the order of the topics; that we are there comes last.
func (p *Publisher) tell(ctx context.Context, told map[string]string) {
	kilns, err := p.Kilns(ctx)
	if err != nil {
		if ctx.Err() == nil {
			slog.Warn("mqtt: what the kilns do cannot be read", "err", err)
		}
		return
	}
	values := p.values(kilns)
	for _, topic := range append(slices.Sorted(maps.Keys(values)), p.Topic+"/status") {
		value := values[topic]
		if topic == p.Topic+"/status" {
			value = online
		}
		if was, known := told[topic]; known && was == value {
			continue
		}
		err := p.publish(ctx, topic, value, true)
		switch refused := (*refusal)(nil); {
		case errors.As(err, &refused):
			slog.Warn("mqtt: the broker refuses a topic", "topic", topic, "code", refused.code)
		case err != nil:
			return // what is left is told at the next tick, or when the broker is back
		}
		told[topic] = value
	}
}

// refusal is a message that the broker got and did not take.
type refusal struct{ code byte }

func (r *refusal) Error() string { return fmt.Sprintf("refused with 0x%02x", r.code) }

// publish sends one message and waits until the broker has it.
func (p *Publisher) publish(ctx context.Context, topic, value string, retain bool) error {
	p.mu.Lock()
	link := p.link
	p.mu.Unlock()
	if link == nil || !p.connected.Load() {
		return errAway
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	m := &paho.Publish{QoS: 1, Retain: retain, Topic: topic, Payload: []byte(value),
		Properties: &paho.PublishProperties{}}
	if retain && topic != p.Topic+"/status" && !p.isDiscovery(topic) {
		m.Properties.MessageExpiry = new(uint32(expiry))
	}
	answer, err := link.Publish(ctx, m)
	if answer != nil && answer.ReasonCode >= 0x80 {
		return &refusal{answer.ReasonCode}
	}
	return err
}

// Carry brings a notice to whoever listens at TOPIC/notice; it is not retained.
func (p *Publisher) Carry(ctx context.Context, d notice.Delivery) (answer string, taken bool) {
	err := p.publish(ctx, p.Topic+"/notice", string(d.Body), false)
	switch refused := (*refusal)(nil); {
	case err == nil:
		return "taken", true
	case ctx.Err() != nil:
		return "", false
	case errors.As(err, &refused):
		return fmt.Sprintf("0x%02x", refused.code), false
	}
	return "no answer", false
}

// Connected says whether the broker has us now, and why not.
func (p *Publisher) Connected() (ok bool, why string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.connected.Load(), p.why
}

// change notes that the connection is up, or why it is not. A change is worth a line in the log, its lasting
// is not.
func (p *Publisher) change(up bool, why string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.connected.Swap(up) != up || p.why != why {
		slog.Info("mqtt", "connected", up, "why", why)
	}
	p.why = why
}

func (p *Publisher) config() autopaho.ClientConfig {
	pause := p.Pause
	if pause == nil {
		pause = func(tries int) time.Duration {
			if tries == 0 {
				return 0
			}
			return min(time.Second<<min(tries-1, 6), time.Minute)
		}
	}
	return autopaho.ClientConfig{
		ServerUrls: []*url.URL{p.Broker}, TlsCfg: p.tls(), KeepAlive: keepAlive,
		CleanStartOnInitialConnection: true,
		ReconnectBackoff:              pause, ConnectTimeout: patience, ConnectUsername: p.User,
		ConnectPassword: p.Password,
		WillMessage: &paho.WillMessage{Topic: p.Topic + "/status",
			Payload: []byte(offline), QoS: 1, Retain: true},
		OnConnectionUp: func(*autopaho.ConnectionManager, *paho.Connack) {
			p.again.Store(true)
			p.change(true, "")
		},
		OnConnectionDown: func() bool { p.change(false, "the broker is away"); return true },
		OnConnectError:   func(err error) { p.change(false, inWords(err)) },
		ClientConfig:     paho.ClientConfig{ClientID: "lidwright-" + p.Site},
	}
}

func (s Settings) tls() *tls.Config {
	return &tls.Config{ServerName: s.Broker.Hostname(), RootCAs: s.Roots, MinVersion: tls.VersionTLS12}
}

// inWords is why no connection came about, without an address.
func inWords(err error) string {
	var refused *autopaho.ConnackError
	var certificate *tls.CertificateVerificationError
	switch {
	case errors.As(err, &refused) && (refused.ReasonCode == 0x86 || refused.ReasonCode == 0x87):
		// MQTT 5.0, table 3-1
		return "the broker refuses the user or the password"
	case errors.As(err, &refused) && refused.ReasonCode >= 0x80:
		return fmt.Sprintf("the broker refuses us with 0x%02x", refused.ReasonCode)
	case errors.As(err, &certificate):
		return "the broker's certificate is not trusted"
	case errors.Is(err, context.DeadlineExceeded):
		return "the broker does not answer"
	}
	return "no connection to the broker; it must speak MQTT 5.0"
}

// Try connects once as we would, and leaves again: nil, or why it did not work in words.
func (s Settings) Try(ctx context.Context) error {
	why := make(chan error, 1)
	up := make(chan struct{}, 1)
	p := &Publisher{Settings: s}
	c := p.config()
	c.ClientID, c.WillMessage = "", nil // the running daemon keeps its place
	c.OnConnectionUp = func(*autopaho.ConnectionManager, *paho.Connack) { up <- struct{}{} }
	c.OnConnectionDown = func() bool { return false }
	c.OnConnectError = func(err error) {
		select {
		case why <- errors.New(inWords(err)):
		default:
		}
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	link, err := autopaho.NewConnection(ctx, c)
	if err != nil {
		return err
	}
	select {
	case <-up:
		link.Disconnect(ctx)
		return nil
	case err := <-why:
		return err
	case <-ctx.Done():
		return errors.New("the broker does not answer")
	}
}

// values are the topics of the kilns with what they hold now; "" where it is not known, which takes a
// retained value away.
func (p *Publisher) values(kilns []Kiln) map[string]string {
	out := map[string]string{}
	for _, k := range kilns {
		at := p.Topic + "/" + k.Kiln + "/"
		out[at+"state"] = k.State
		out[at+"reading"] = map[bool]string{true: "fresh", false: "none"}[k.TemperatureC != nil]
		out[at+"temperature_c"] = number(k.TemperatureC)
		out[at+"rate_c_per_h"] = number(k.RateCPerH)
		out[at+"hot"] = strconv.FormatBool(k.Hot)
		out[at+"still_hot"] = strconv.FormatBool(k.StillHot)
		out[at+"over_limit"] = strconv.FormatBool(k.OverLimit)
		out[at+"firing"] = text(k.FiringName)
		out[at+"hours"] = number(k.Hours)
		out[at+"peak_c"] = number(k.PeakC)
		out[at+"heat_work_c"] = number(k.HeatWorkC)
		out[at+"cone"] = text(k.Cone)
		out[at+"cone_words"] = said(k.ConeWords)
		out[at+"peak_about"] = text(k.PeakAt)
		out[at+"below_keep_shut_about"] = text(k.BelowKeepShutAt)
		out[at+"keep_shut_above_c"] = number(k.KeepShutAboveC)
		out[at+"bars_to_measure"] = strconv.Itoa(k.ToMeasure)
		for topic, found := range p.found(k) {
			b, err := json.Marshal(found)
			if err != nil {
				slog.Warn("mqtt: a message of discovery cannot be written", "topic", topic, "err", err)
				continue
			}
			out[topic] = string(b)
		}
	}
	return out
}

func number(x *float64) string {
	if x == nil {
		return ""
	}
	return strconv.FormatFloat(*x, 'f', -1, 64)
}

func text(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func said(m *message.Message) string {
	if m == nil {
		return ""
	}
	return m.String()
}

// Package config reads the settings once, from lidwright.toml, the environment (LIDWRIGHT_) and the
// flags of a command, into the types of the trade. Every mistake is told at once, each with file,
// line, key and what would be right. Only this package imports viper and go-toml.
//
// It opens no port and no store, and it does not watch the file: whoever wants a reload calls Load
// again and keeps the old Config if that fails.
package config

import (
	"time"
)

// Config is every setting there is. The key of a field is the path of its tags, with dots:
// firing.start_above_c. The tag words lists what a text may be, min and max the ends of a number.
// Fields with the tag named are tables of the file that carry names of the owner's own; of those with the tag
// private Show tells no person.
type Config struct {
	File string `key:"-"` // the file that was read, "" if there was none

	Site    Site    `key:"site"`
	Store   Store   `key:"store"`
	Units   Units   `key:"units"`
	Listen  Listen  `key:"listen"`
	Reading Reading `key:"reading"`
	Codes   Codes   `key:"codes"`
	Kilns   []Kiln  `key:"-" named:"kiln"` // in the order of the file; none is no mistake
	Heat    Heat    `key:"heat"`
	Firing  Firing  `key:"firing"`
	Seat    Seat    `key:"seat"`
	Lid     Lid     `key:"lid"`
	Bars    Bars    `key:"bars"`
	Notice  Notice  `key:"notice"`
	MQTT    MQTT    `key:"mqtt"`
	Copy    Copy    `key:"copy"`
	Keep    Keep    `key:"keep"`

	Log Log `key:"log"`

	Advice []Mistake `key:"-"` // what works but is not wise: a bare ttyUSB0 and its like
}

// Site is the studio.
type Site struct {
	Name       string `key:"name"`
	ID         string `key:"id"`       // UUIDv7; "" = made at first start and kept in the store
	Zone       string `key:"zone"`     // IANA name, such as Europe/Berlin; "" = the system's
	Language   string `key:"language"` // language tag
	Clock      int    `key:"clock"`    // 12 or 24
	Atmosphere string `key:"atmosphere" words:"oxidation reduction unknown"`
	MainKiln   string `key:"main_kiln"` // of questions that name no kiln; "" = the first in the file
}

// Store is where everything is kept.
type Store struct {
	// Folder is absolute after Load, or "" if the environment names no folder either. In the
	// file "" means $STATE_DIRECTORY, else $XDG_STATE_HOME/lidwright, else
	// $HOME/.local/state/lidwright.
	Folder string `key:"folder"`
}

// Units are those of pages and commands; the store knows mm and °C only.
type Units struct {
	Length      string `key:"length" words:"mm cm in 32nds"`
	Temperature string `key:"temperature" words:"c f"`
}

// Listen is the address of pages and API.
type Listen struct {
	Address               string   `key:"address"`    // host:port, ":8573" for all addresses
	URL                   string   `key:"public_url"` // "" = http://HOSTNAME.local:PORT; see PublicURL
	Hosts                 []string `key:"hosts"`      // more host names that are answered
	TLSCert               string   `key:"tls_cert"`   // both or neither
	TLSKey                string   `key:"tls_key"`
	Connections           int      `key:"connections" min:"8" max:"512"` // open at once; beyond: 503
	ConnectionsPerAddress int      `key:"connections_per_address" min:"1" max:"512"`
}

// Reading says who may read.
type Reading struct {
	Open    bool     `key:"open"`
	Origins []string `key:"origins"` // sites whose pages may read the API in a browser
}

// Codes are the files with the hashed access codes; "" = none.
type Codes struct {
	BenchFile string `key:"bench_file"`
	OwnerFile string `key:"owner_file"`
}

// Heat is about heat work.
type Heat struct {
	ConeSeries string `key:"cone_series" words:"large_self_supporting large_self_supporting_iron_free large_plaque large_plaque_iron_free large_plaque_older small seger_a seger_nominal seger_refractory"`
}

// Firing says when a firing begins and ends, in °C, and when a kiln counts as quiet.
type Firing struct {
	StartAboveC float64       `key:"start_above_c" min:"20" max:"300"`
	EndBelowC   float64       `key:"end_below_c" min:"10" max:"290"` // must be the lower
	QuietAfter  time.Duration `key:"quiet_after" min:"30s" max:"1h"`
}

// Seat holds the window of play of each kind of seat and what they share. Millimetres are fired.
type Seat struct {
	Inset       Play    `key:"inset"`
	Flange      Play    `key:"flange"`
	Cap         Play    `key:"cap"`
	DropIn      Play    `key:"drop_in"`
	Over        Play    `key:"over"`
	Stopper     Play    `key:"stopper"`
	BearingMM   float64 `key:"bearing_mm" min:"0" max:"20"`   // overlap that carries the lid, at least
	GlazeFaceMM float64 `key:"glaze_face_mm" min:"0" max:"3"` // glaze on one face
}

// Play is the window of one kind of seat. Over 100 mm fired the two shares rule, where larger.
type Play struct {
	PlayMM         []float64 `key:"play_mm"` // least, aim, most, rising
	LeastPlayRatio float64   `key:"least_play_ratio" min:"0" max:"0.2"`
	MostPlayRatio  float64   `key:"most_play_ratio" min:"0" max:"0.2"`
}

// Lid is what the maker can set and hold, in mm.
type Lid struct {
	StepMM      float64 `key:"step_mm" min:"0" max:"5"`       // 0 = do not round
	MeasureSDMM float64 `key:"measure_sd_mm" min:"0" max:"3"` // until learned
	ThrowSDMM   float64 `key:"throw_sd_mm" min:"0" max:"3"`   // until learned
}

// Bars is about shrink bars.
type Bars struct {
	MarkLengthMM float64 `key:"mark_length_mm" min:"5" max:"2000"`
	Alphabet     string  `key:"alphabet"` // signs of the bars' codes
}

// Notice is about messages to people.
type Notice struct {
	Webhooks     []Webhook     `key:"-" named:"webhook"` // in the order of the file
	Mail         Mail          `key:"mail"`
	QuietHours   Span          `key:"quiet_hours"` // for those who have none of their own
	DigestAt     TimeOfDay     `key:"digest_at"`
	DeadmanURL   string        `key:"deadman_url"` // "" = none
	DeadmanEvery time.Duration `key:"deadman_every" min:"1m" max:"24h"`
}

// Webhook is one receiver of notices.
type Webhook struct {
	Name string   `key:"-"`
	URL  string   `key:"url"`
	On   []string `key:"on" words:"@events"` // [] = all
	// Wakes are the events that are sent in quiet hours too; a test always is. [] = none.
	Wakes      []string `key:"wakes" words:"@events"`
	SecretFile string   `key:"secret_file"`
	QuietHours Span     `key:"quiet_hours"` // zero = notice.quiet_hours
}

// events are those that a receiver may name; the tag words has @events for them.
const events = "firing.started firing.ended firing.long firing.still_firing kiln.quiet " +
	"kiln.over_limit kiln.may_be_over_limit kiln.probe_lost kiln.vent_off kiln.still_hot kiln.stopped_climbing kiln.fell_early kiln.stands_low kiln.cooled " +
	"load.unpacked bars.waiting rate.moved rate.stale batch.shifted probe.bias copy.old store.back store.gone store.not_writing test"

// DefaultWebhook is what holds for a receiver where nothing is set: what cannot wait until morning wakes,
// for most firings go on at night.
func DefaultWebhook() Webhook {
	return Webhook{On: []string{}, Wakes: []string{"kiln.over_limit", "kiln.may_be_over_limit",
		"kiln.still_hot", "kiln.vent_off", "kiln.quiet", "kiln.stopped_climbing", "kiln.fell_early",
		"store.not_writing", "store.gone"}}
}

// Mail is the receiver of notices by e-mail, through the relay of the house or of a provider.
type Mail struct {
	Relay        string   `key:"relay"` // host:port; "" = none
	From         string   `key:"from" private:"address"`
	To           []string `key:"to" private:"address"`
	Secure       string   `key:"secure" words:"starttls tls none"`
	User         string   `key:"user" private:"address"` // "" = the relay asks for none
	PasswordFile string   `key:"password_file"`
	CAFile       string   `key:"ca_file"` // "" = the system's authorities
	On           []string `key:"on" words:"@events"`
	QuietHours   Span     `key:"quiet_hours"` // zero = notice.quiet_hours
	Wakes        []string `key:"wakes" words:"@events"`
}

// MQTT says where the kilns are told by MQTT. Nothing is subscribed to: nobody writes to us there.
type MQTT struct {
	URL            string   `key:"url"`  // mqtts://host:8883, mqtt://host:1883; "" = none
	User           string   `key:"user"` // "" = the broker asks for none
	PasswordFile   string   `key:"password_file"`
	CAFile         string   `key:"ca_file"` // "" = the system's authorities
	Topic          string   `key:"topic"`   // that all of ours begin with
	Notices        []string `key:"notices" words:"@events"`
	Discovery      bool     `key:"discovery"` // messages by which home automation finds the kilns
	DiscoveryTopic string   `key:"discovery_topic"`
}

// Copy is about copies of the store.
type Copy struct {
	Every  time.Duration `key:"every" min:"1h" max:"720h"`
	Keep   int           `key:"keep" min:"1" max:"1000"`
	Target string        `key:"target"` // a second place; "" = none
}

// Keep says how long things are kept that need not be kept for ever.
type Keep struct {
	RawLinesDays int `key:"raw_lines_days" min:"0" max:"3650"`
	MakersMonths int `key:"makers_months" min:"0" max:"1200"` // 0 = for ever
}

// Log is the journal.
type Log struct {
	Level  string `key:"level" words:"error warn info debug"`
	Format string `key:"format" words:"text json"`
}

// Default is what holds where nothing is set; example.toml says the same.
func Default() Config {
	return Config{
		Site:  Site{Name: "studio", Language: "en", Clock: 24, Atmosphere: "unknown"},
		Units: Units{Length: "mm", Temperature: "c"},
		Listen: Listen{Address: "127.0.0.1:8573", Hosts: []string{}, Connections: 128,
			ConnectionsPerAddress: 16},
		Reading: Reading{Open: true, Origins: []string{}},
		Heat:    Heat{ConeSeries: "large_self_supporting"},
		Firing:  Firing{StartAboveC: 60, EndBelowC: 50, QuietAfter: 2 * time.Minute},
		Seat: Seat{
			Inset:       Play{PlayMM: []float64{1.0, 1.75, 2.5}, LeastPlayRatio: 0.010, MostPlayRatio: 0.025},
			Flange:      Play{PlayMM: []float64{1.0, 1.75, 2.5}, LeastPlayRatio: 0.010, MostPlayRatio: 0.025},
			Cap:         Play{PlayMM: []float64{1.0, 2.0, 3.0}, LeastPlayRatio: 0.010, MostPlayRatio: 0.030},
			DropIn:      Play{PlayMM: []float64{1.0, 1.75, 2.5}, LeastPlayRatio: 0.010, MostPlayRatio: 0.025},
			Over:        Play{PlayMM: []float64{1.0, 2.0, 3.0}, LeastPlayRatio: 0.010, MostPlayRatio: 0.030},
			Stopper:     Play{PlayMM: []float64{0.3, 0.65, 1.0}, LeastPlayRatio: 0.003, MostPlayRatio: 0.010},
			BearingMM:   1.0,
			GlazeFaceMM: 0.3,
		},
		Lid:  Lid{StepMM: 0.5, MeasureSDMM: 0.3, ThrowSDMM: 0.5},
		Bars: Bars{MarkLengthMM: 100, Alphabet: "ABCDEFGHJKLNPQRTVWXY347"},
		Notice: Notice{
			DigestAt:     TimeOfDay(8 * time.Hour),
			DeadmanEvery: 5 * time.Minute,
			Mail: Mail{To: []string{}, Secure: "starttls", On: []string{},
				Wakes: DefaultWebhook().Wakes},
		},
		MQTT: MQTT{Topic: "lidwright", Notices: []string{}, DiscoveryTopic: "homeassistant"},
		Copy: Copy{Every: 24 * time.Hour, Keep: 7},
		Keep: Keep{RawLinesDays: 30},
		Log:  Log{Level: "info", Format: "text"},
	}
}

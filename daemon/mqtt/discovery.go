package mqtt

import (
	"fmt"
	"strings"
)

// entity is a message by which home automation finds one value, in the words of the open convention for MQTT
// discovery (home-assistant.io, MQTT discovery, MQTT sensor and MQTT binary sensor). There is none with a
// command topic: nothing can be set.
type entity struct {
	Name             string         `json:"name"`
	UniqueID         string         `json:"unique_id"`
	ObjectID         string         `json:"object_id"`
	StateTopic       string         `json:"state_topic"`
	ValueTemplate    string         `json:"value_template,omitempty"`
	DeviceClass      string         `json:"device_class,omitempty"`
	Unit             string         `json:"unit_of_measurement,omitempty"`
	StateClass       string         `json:"state_class,omitempty"`
	PayloadOn        string         `json:"payload_on,omitempty"`
	PayloadOff       string         `json:"payload_off,omitempty"`
	ExpireAfter      int            `json:"expire_after,omitempty"` // s
	Availability     []availability `json:"availability"`
	AvailabilityMode string         `json:"availability_mode"`
	Device           device         `json:"device"`
	Origin           origin         `json:"origin"`
}

type availability struct {
	Topic        string `json:"topic"`
	Available    string `json:"payload_available"`
	NotAvailable string `json:"payload_not_available"`
}

type device struct {
	Identifiers  []string `json:"identifiers"`
	Name         string   `json:"name"`
	Manufacturer string   `json:"manufacturer"`
	Version      string   `json:"sw_version"`
	URL          string   `json:"configuration_url,omitempty"`
}

type origin struct {
	Name    string `json:"name"`
	Version string `json:"sw_version"`
}

// orUnknown is a template that makes of a value that was taken away one that is not known; without it the
// last one would stand.
const orUnknown = "{{ value if value else 'None' }}"

// found are the messages by which home automation finds a kiln, by topic; none where nobody looks.
func (p *Publisher) found(k Kiln) map[string]entity {
	if p.Discovery == "" {
		return nil
	}
	at, node := p.Topic+"/"+k.Kiln+"/", "lidwright_"+strings.ReplaceAll(p.Site, "-", "")+"_"+k.Kiln
	there := availability{p.Topic + "/status", online, offline}
	fresh := availability{at + "reading", "fresh", "none"}
	shut := "Likely to read below what it is kept shut above (no leave to open)"
	if k.KeepShutAboveC != nil {
		shut = fmt.Sprintf("Likely to read below %g °C (no leave to open)", *k.KeepShutAboveC)
	}
	out := map[string]entity{}
	add := func(component, value string, e entity) {
		e.UniqueID, e.ObjectID, e.StateTopic = node+"_"+value, k.Kiln+"_"+value, at+value
		e.Availability, e.AvailabilityMode = append(e.Availability, there), "all"
		e.Device = device{[]string{node}, k.Kiln, "lidwright at " + p.SiteName, p.Version,
			p.Pages + "/kiln/" + k.Kiln}
		e.Origin = origin{"lidwright", p.Version}
		out[p.Discovery+"/"+component+"/"+node+"/"+value+"/config"] = e
	}
	reading := []availability{fresh}
	// A value is repeated every minute: one that is three minutes old is none any more.
	add("sensor", "temperature_c", entity{Name: "Temperature", DeviceClass: "temperature", Unit: "°C",
		StateClass: "measurement", ExpireAfter: 3 * repeat, Availability: reading})
	add("sensor", "rate_c_per_h", entity{Name: "Rate", Unit: "°C/h", StateClass: "measurement",
		ValueTemplate: orUnknown, ExpireAfter: 3 * repeat, Availability: reading})
	add("sensor", "state", entity{Name: "State", ExpireAfter: 3 * repeat})
	add("sensor", "cone_words", entity{Name: "Cone so far", ValueTemplate: orUnknown,
		ExpireAfter: 3 * repeat})
	add("sensor", "peak_about", entity{Name: "Peak, about", DeviceClass: "timestamp",
		ValueTemplate: orUnknown,
		ExpireAfter:   3 * repeat})
	add("sensor", "below_keep_shut_about", entity{Name: shut, DeviceClass: "timestamp",
		ValueTemplate: orUnknown,
		ExpireAfter:   3 * repeat})
	add("sensor", "bars_to_measure", entity{Name: "Bars to measure", StateClass: "measurement",
		ExpireAfter: 3 * repeat})
	problem := entity{DeviceClass: "problem", PayloadOn: "true", PayloadOff: "false", ExpireAfter: 3 * repeat}
	problem.Name = "Over its limit (no safety device)"
	add("binary_sensor", "over_limit", problem)
	problem.Name = "Still hot long after the end (no safety device)"
	add("binary_sensor", "still_hot", problem)
	return out
}

func (p *Publisher) isDiscovery(topic string) bool {
	return p.Discovery != "" && strings.HasPrefix(topic, p.Discovery+"/")
}

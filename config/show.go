package config

import (
	"fmt"
	"io"
	"maps"
	"net/url"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Show writes the settings that hold, defaults and all, as TOML with a full key on each line. It
// tells no secret: secrets lie in files of their own and are never read here, and of the addresses
// of webhooks, of the dead-man call it gives scheme and host alone, of those of people what is behind the @.
func (c Config) Show(w io.Writer) error {
	var b strings.Builder
	showTable(&b, "", reflect.ValueOf(c))
	_, err := io.WriteString(w, b.String())
	return err
}

func showTable(b *strings.Builder, prefix string, v reflect.Value) {
	for i := range v.NumField() {
		f, value := v.Type().Field(i), v.Field(i)
		key := prefix + f.Tag.Get("key")
		named := f.Tag.Get("named")
		switch {
		case named != "":
			for j := range value.Len() { // the first field of each is its name
				item := value.Index(j)
				showTable(b, fmt.Sprintf("%s%s.%v.", prefix, named, item.Field(0)), item)
			}
		case f.Tag.Get("key") == "-":
		case isTable(f.Type):
			showTable(b, key+".", value)
		case f.Type.Kind() == reflect.Map:
			for _, name := range slices.Sorted(maps.Keys(value.Interface().(shelves))) {
				fmt.Fprintf(b, "%s.%s = %q\n", key, name, value.Interface().(shelves)[name])
			}
		case unset(v, f, value):
		default:
			fmt.Fprintf(b, "%s = %s\n", key, literal(f, value))
		}
	}
}

// unset tells fields that have no meaning beside the others: the register of a text channel, the
// column of a modbus one, and what a kiln without a line leaves open.
func unset(in reflect.Value, f reflect.StructField, value reflect.Value) bool {
	channel, ok := in.Interface().(Channel)
	if ok {
		switch f.Tag.Get("key") {
		case "unit_id", "function", "register", "type", "order":
			return channel.From != ""
		case "from":
			return channel.From == ""
		}
	}
	return f.Tag.Get("key") == "reply" && value.String() == ""
}

// literal is a value as TOML has it.
func literal(f reflect.StructField, v reflect.Value) string {
	person := f.Tag.Get("private") != ""
	switch x := v.Interface().(type) {
	case time.Duration:
		return strconv.Quote(brief(x))
	case fmt.Stringer:
		return tomlText(x.String())
	case []string:
		items := make([]string, len(x))
		for i, s := range x {
			if person {
				s = impersonal(s)
			}
			items[i] = tomlText(s)
		}
		return "[" + strings.Join(items, ", ") + "]"
	case []float64:
		items := make([]string, len(x))
		for i, n := range x {
			items[i] = decimal(n)
		}
		return "[" + strings.Join(items, ", ") + "]"
	}
	switch v.Kind() {
	case reflect.String:
		if key := f.Tag.Get("key"); key == "url" || key == "deadman_url" {
			return tomlText(masked(v.String()))
		}
		if person {
			return tomlText(impersonal(v.String()))
		}
		return tomlText(v.String())
	case reflect.Float64:
		return decimal(v.Float())
	}
	return fmt.Sprint(v.Interface())
}

// masked is a web address without its path, query and password, which may be secrets.
func masked(address string) string {
	u, err := url.Parse(address)
	if address == "" || err != nil {
		return ""
	}
	return u.Scheme + "://" + u.Host + "/..."
}

// impersonal is an address of e-mail without whom it reaches.
func impersonal(address string) string {
	if address == "" {
		return ""
	}
	if at := strings.LastIndexByte(address, '@'); at >= 0 {
		return "..." + address[at:]
	}
	return "..."
}

// brief is a duration without the zeros that Go puts behind it: "24h", "2m".
func brief(d time.Duration) string {
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}

func decimal(x float64) string {
	s := strconv.FormatFloat(x, 'f', -1, 64)
	if !strings.Contains(s, ".") {
		s += ".0"
	}
	return s
}

// tomlText quotes s as a basic string of TOML v1.0.0.
func tomlText(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteString(`\` + string(r))
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\r':
			b.WriteString(`\r`)
		case r == '\t':
			b.WriteString(`\t`)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

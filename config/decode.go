package config

import (
	"encoding"
	"fmt"
	"math"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/go-viper/mapstructure/v2"
	"github.com/pelletier/go-toml/v2"
	"github.com/spf13/viper"
)

// decode fills in the settings under key, or all of them for "", and tells of each that is not of its type.
// Of a field that is told of, what was there before stays.
func (r *reader) decode(key string, into any) {
	strictly := func(c *mapstructure.DecoderConfig) {
		c.TagName, c.WeaklyTypedInput = "key", false
	}
	hook := viper.DecodeHook(mapstructure.DecodeHookFuncValue(typed))
	if key == "" {
		r.tell("", r.v.Unmarshal(into, hook, strictly))
		return
	}
	r.tell(key+".", r.v.UnmarshalKey(key, into, hook, strictly))
}

// tell adds the mistakes that mapstructure found, each at its key.
func (r *reader) tell(prefix string, err error) {
	switch e := err.(type) {
	case nil:
	case *mapstructure.DecodeError:
		r.add(prefix+anIndex.ReplaceAllString(e.Name(), ".$1"), "%s", e.Unwrap())
	case interface{ Unwrap() []error }:
		for _, one := range e.Unwrap() {
			r.tell(prefix, one)
		}
	case interface{ Unwrap() error }:
		r.tell(prefix, e.Unwrap())
	default:
		r.add(strings.TrimSuffix(prefix, "."), "%s", err)
	}
}

// anIndex is how mapstructure names the item of a map.
var anIndex = regexp.MustCompile(`\[([^\]]*)\]`)

// Column is where a number stands in a reply: the number of a column from 1, or a name.
type Column string

// typed is the hook by which mapstructure decodes a setting: of what TOML, a variable or a flag has for it,
// it makes a value of the field's type. The error says what it is and what it must be.
func typed(from, to reflect.Value) (any, error) {
	value, t := from.Interface(), to.Type()
	text, isText := value.(string)
	wrong := fmt.Errorf("is %s; must be %s", show(value), mustBe(t))
	if target, ok := reflect.New(t).Interface().(encoding.TextUnmarshaler); ok {
		switch clock := value.(type) {
		case toml.LocalDate:
			text = clock.String()
		case toml.LocalTime:
			text = fmt.Sprintf("%02d:%02d", clock.Hour, clock.Minute)
		default:
			if !isText {
				return nil, wrong
			}
		}
		if err := target.UnmarshalText([]byte(text)); err != nil {
			return nil, fmt.Errorf("is %s; %w", show(value), err)
		}
		return reflect.ValueOf(target).Elem().Interface(), nil
	}
	if t == reflect.TypeFor[time.Duration]() {
		d, err := time.ParseDuration(text)
		if err != nil {
			return nil, wrong
		}
		return d, nil
	}
	var ok bool
	out := value
	switch t.Kind() {
	case reflect.Bool:
		if ok = from.Kind() == reflect.Bool; isText {
			b, err := strconv.ParseBool(text)
			out, ok = b, err == nil
		}
	case reflect.Int:
		if ok = from.CanInt(); isText {
			n, err := strconv.Atoi(text)
			out, ok = n, err == nil
		}
	case reflect.Float64:
		if x, err := strconv.ParseFloat(text, 64); isText && err == nil {
			out = x
			wrong = fmt.Errorf("is %s; must be %s", show(x), mustBe(t))
		}
		out, ok = number(out)
	case reflect.String:
		if ok = isText; t == reflect.TypeFor[Column]() && from.CanInt() {
			out, ok = strconv.FormatInt(from.Int(), 10), true
		}
	case reflect.Slice:
		if isText {
			out = commaList(text, t.Elem())
		}
		return list(out, t)
	default: // a table: what is none was told of already
		ok = from.Kind() == reflect.Map
	}
	if !ok {
		return nil, wrong
	}
	return out, nil
}

// mustBe says what a setting of the file of type t must be.
func mustBe(t reflect.Type) string {
	switch {
	case t == reflect.TypeFor[time.Duration]():
		return `a time with its unit, in quotes, as "120s", "5m" or "24h"`
	case t.Kind() == reflect.Bool:
		return "true or false, without quotes"
	case isText(t):
		return "a text in quotes"
	case t.Kind() == reflect.Int:
		return "a whole number without quotes"
	case t.Kind() == reflect.Float64:
		return "a finite number without quotes"
	case t.Kind() == reflect.Slice:
		return "a list in square brackets"
	}
	return "a table"
}

// isText reports whether a setting of type t stands in quotes.
func isText(t reflect.Type) bool {
	return t.Kind() == reflect.String || t == reflect.TypeFor[time.Duration]() ||
		reflect.PointerTo(t).Implements(reflect.TypeFor[encoding.TextUnmarshaler]())
}

// commaList reads a list as a variable or a flag has it, with commas between.
func commaList(text string, item reflect.Type) []any {
	out := []any{}
	for part := range strings.SplitSeq(text, ",") {
		if part = strings.TrimSpace(part); part == "" {
			continue
		}
		if x, err := strconv.ParseFloat(part, 64); err == nil && item.Kind() == reflect.Float64 {
			out = append(out, x)
			continue
		}
		out = append(out, part)
	}
	return out
}

// list makes a list of numbers or texts.
func list(value any, t reflect.Type) (any, error) {
	if texts, ok := value.([]string); ok {
		return texts, nil
	}
	items, ok := value.([]any)
	if !ok {
		return nil, fmt.Errorf("is %s; must be %s", show(value), mustBe(t))
	}
	if t.Elem().Kind() == reflect.Float64 {
		out := make([]float64, len(items))
		for i, item := range items {
			if out[i], ok = number(item); !ok {
				return nil, fmt.Errorf("holds %s; must be a list of finite numbers", show(item))
			}
		}
		return out, nil
	}
	out := make([]string, len(items))
	for i, item := range items {
		if out[i], ok = item.(string); !ok {
			return nil, fmt.Errorf("holds %s; must be a list of texts in quotes", show(item))
		}
	}
	return out, nil
}

// number is a finite number of TOML.
func number(value any) (float64, bool) {
	switch x := value.(type) {
	case int64:
		return float64(x), true
	case float64:
		return x, !math.IsNaN(x) && !math.IsInf(x, 0)
	}
	return 0, false
}

// show is a value as a message quotes it, never long.
func show(value any) string {
	var s string
	switch v := value.(type) {
	case string:
		s = strconv.Quote(v)
	case map[string]any:
		return "a table"
	case []any:
		return "a list"
	default:
		s = fmt.Sprint(v)
	}
	if r := []rune(s); len(r) > 48 {
		s = string(r[:45]) + "..."
	}
	return s
}

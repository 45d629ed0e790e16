package kiln

import (
	"testing"
	"time"
)

func TestWholeSecond(t *testing.T) {
	at := func(boot string, ms int) Stamp {
		return Stamp{Boot: BootID(boot), Since: time.Duration(ms) * time.Millisecond, Wall: winter.Add(time.Duration(ms) * time.Millisecond)}
	}
	good := func(c string, v Celsius) Value { return Value{Channel: ChannelID(c), T: v} }
	bad := Value{Channel: "1", T: NoTemperature(), Fault: Break}
	var w wholeSecond
	var out []Sample
	for _, s := range []Sample{
		{At: at("a", 1100), Values: []Value{good("1", 20)}},
		{At: at("a", 1500), Values: []Value{good("1", 21)}},
		{At: at("a", 1900), Values: []Value{bad}, Raw: "ERR"}, // the last good one stands
		{At: at("a", 2100), Values: []Value{bad}},
		{At: at("a", 2200), Values: []Value{good("2", 30)}}, // another channel of the same second
		{At: at("a", 3000), Values: []Value{good("1", 22)}},
		{At: at("b", 900), Values: []Value{good("1", 23)}}, // another boot begins anew
		{At: at("b", 1000), Values: []Value{good("1", 24)}},
	} {
		if whole, ok := w.add(s); ok {
			out = append(out, whole)
		}
	}
	if len(out) != 4 {
		t.Fatalf("%d seconds, want 4", len(out))
	}
	if v := out[0]; v.At.Since != time.Second || !v.At.Wall.Equal(winter.Add(time.Second)) || v.Values[0].T != 21 || v.Raw != "ERR" {
		t.Errorf("first second %+v", v)
	}
	if v := out[1]; len(v.Values) != 2 || v.Values[0].Fault != Break || v.Values[1].T != 30 {
		t.Errorf("second second %+v", v)
	}
	if out[3].At.Boot != "b" || out[3].At.Since != 0 {
		t.Errorf("first second of the other boot %+v", out[3])
	}
	if !w.before(at("b", 2000)) || w.before(at("b", 1999)) {
		t.Error("a second is over when the next begins")
	}
	if whole, ok := w.flush(); !ok || whole.Values[0].T != 24 {
		t.Errorf("the open second %+v", whole)
	}
	if _, ok := w.add(Sample{At: at("b", 1999), Values: []Value{good("1", 99)}}); ok || w.open {
		t.Error("a reading of a second that is over was taken")
	}
}

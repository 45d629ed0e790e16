package daemon

import (
	"encoding/json"
	"fmt"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"lidwright/kiln"
)

// A firing that goes on names its gap whatever the length of a step, as one that is over does.
func TestGapsOfARunningFiring(t *testing.T) {
	t.Parallel()
	b := newHeatBench(t)
	at := b.d.Now()
	var passed atomic.Int64 // ns
	b.d.Now = func() kiln.Stamp {
		now, after := at, time.Duration(passed.Load())
		now.Since, now.Wall = at.Since+after, at.Wall.Add(after)
		return now
	}
	b.run()
	send := func(after time.Duration, temperature float64) {
		passed.Store(int64(after))
		b.d.samples <- kiln.Sample{Kiln: "big-blue", At: b.d.Now(),
			Values: []kiln.Value{{Channel: "1", T: kiln.Celsius(temperature)}}}
		for len(b.d.samples) > 0 { // the clock does not run ahead of what is heard
			runtime.Gosched()
		}
	}
	id := newUUID()
	send(0, 100)
	until(t, "a firing that was begun", func() bool {
		status, _ := b.ask("PUT", "/v1/firings/"+id+"/begin", map[string]any{"kiln": "big-blue"}, nil)
		return status < 300
	})
	for i := range 360 { // an hour at 150 °C/h
		send(time.Duration(i)*10*time.Second, 100+float64(i)*150/360)
	}
	for i := range 60 { // and ten minutes more, 20 minutes later
		send(80*time.Minute+time.Duration(i)*10*time.Second, 300+float64(i)*150/360)
	}
	for _, step := range []int{1, 10, 60, 300} {
		var c struct {
			Gaps     []map[string]any
			Channels []struct{ Rows [][3]float64 }
		}
		until(t, "the last of what was read", func() bool {
			status, _ := b.ask("GET", fmt.Sprintf("/v1/firings/%s/curve?step=%d", id, step), nil, &c)
			if status != 200 { // 404: nothing of it is written down yet
				return false
			}
			rows := c.Channels[0].Rows
			return len(rows) > 0 && rows[len(rows)-1][0] > 80*60
		})
		// The last reading before it came after 59 min 50 s, the next after 80 min: 20 min 10 s.
		if len(c.Gaps) != 1 || c.Gaps[0]["for_s"] != 1210. {
			text, _ := json.Marshal(c.Gaps)
			t.Errorf("step %d: gaps %s, want one of 1210 s", step, text)
		}
	}
}

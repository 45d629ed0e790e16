package config

import (
	"maps"
	"slices"
)

// FormerKeys are the names that settings of a kiln, and the answers to setup, had before, with
// those that they have now. A file with the old ones is read as if it had the new.
var FormerKeys = map[string]string{"unpacking_mark_c": "keep_shut_above_c",
	"unpacking_reason": "keep_shut_reason"}

// formerEvents are the names that events of notices had before.
var formerEvents = map[string]string{"kiln.at_unpacking_mark": "kiln.cooled"}

// keepShutMost is the most that keep_shut_above_c can be, in °C; under its old name it was 300.
const keepShutMost = 200.0

// takeOver reads what has an old name under the new one, and says so.
func (r *reader) takeOver() {
	kilns, _ := r.doc.values["kiln"].(map[string]any)
	for _, name := range slices.Sorted(maps.Keys(kilns)) {
		table, _ := kilns[name].(map[string]any)
		for _, old := range slices.Sorted(maps.Keys(FormerKeys)) {
			value, given := table[old]
			if !given {
				continue
			}
			delete(table, old)
			now, key := FormerKeys[old], "kiln."+name+"."
			if _, both := table[now]; both {
				r.add(key+old, "is called %s now, and the file has that too; take this line out", now)
				continue
			}
			r.doc.lines[key+now] = r.doc.lines[key+old]
			table[now] = value
			r.advise(key+old, "is called %s now and was taken over as that; write it so", now)
			if c, ok := number(value); ok && c > keepShutMost && now == "keep_shut_above_c" {
				table[now] = keepShutMost
				r.advise(key+old, "is %s; the kiln is kept shut above %g °C, the most that can be set",
					show(value),
					keepShutMost)
			}
		}
	}
	notice, _ := r.doc.values["notice"].(map[string]any)
	webhooks, _ := notice["webhook"].(map[string]any)
	for _, name := range slices.Sorted(maps.Keys(webhooks)) {
		webhook, _ := webhooks[name].(map[string]any)
		on, _ := webhook["on"].([]any)
		for i, event := range on {
			text, _ := event.(string)
			if now := formerEvents[text]; now != "" {
				on[i] = now
				r.advise("notice.webhook."+name+".on",
					"holds %s, which is called %s now and was taken over as that; write it so", text, now)
			}
		}
	}
}

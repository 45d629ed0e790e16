//go:build manual

package main

import (
	"lidwright/cmd/manual"
	"lidwright/config"
)

func init() {
	manual.WriteAsked(manual.Program{Root: rootCommand(), Version: version,
		Settings: "collect.toml", Example: config.CollectExample,
		Reads: `The collector reads the file that **--config** names, /etc/lidwright/collect.toml where it runs as a service. What follows
is every setting with its default, and an example where one is needed. **lidwright-collect check** says what is right in
it and what is not.`,
		SeeAlso: "lidwright-collect(1), lidwright-collect-check(1), lidwright-collect-run(1)"})
}

//go:build manual

package main

import (
	"lidwright/cmd/manual"
	"lidwright/config"
)

func init() {
	manual.WriteAsked(manual.Program{Root: rootCommand(), Version: version,
		Settings: "lidwright.toml", Example: config.Example,
		Reads: `The daemon and the commands read /etc/lidwright/lidwright.toml where it is there, or the file that
**--config** names. What follows is every setting with its default. **lidwright setup** writes a file, **lidwright
check** says what is right in it and what is not, with the line of each mistake.`,
		SeeAlso: "lidwright(1), lidwright-setup(1), lidwright-check(1), lidwright-run(1)"})
}
